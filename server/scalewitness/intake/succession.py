"""Closing a log that lost what others have seen, and going on from what is left as another."""

import os
from collections.abc import Sequence
from datetime import datetime

import msgspec
from django.db import transaction

from scalewitness.domain.errors import LogContradicted, NotNow, OutOfRange
from scalewitness.domain.facts import OriginSucceeded
from scalewitness.domain.translog.commitment import SALT_BYTES, commit
from scalewitness.domain.translog.keys import VerifierKey
from scalewitness.domain.translog.notes import BadNote, Note, open_checkpoint, read_note
from scalewitness.domain.translog.successions import KIND
from scalewitness.fresh_ids import fresh_id
from scalewitness.intake.submission import TEXT_LIMIT
from scalewitness.ledger.models import Checkpoint, Fence, Head, SignedHead, Succession, Text
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.ledger.queries.origins import name_of, origin, successions
from scalewitness.ledger.queries.prepared import asked
from scalewitness.ledger.queries.tree import Tip, tip
from scalewitness.ledger.services.adopting import lift, require_whole
from scalewitness.ledger.services.fencing import shortfall
from scalewitness.ledger.services.memory import log_keys, remembered_as_it_stands
from scalewitness.ledger.services.outside import Outside, read_outside
from scalewitness.ledger.services.signing import log_signer, sign_checkpoint
from scalewitness.ledger.services.writing import IN_LINE, Draft, Writer


def require_retired_key() -> None:
    """See that what was signed under the old name can be read.

    Raises:
        NotNow: `LOG_RETIRED_KEYS` holds no key of that name, nor does `LOG_SIGNING_KEY`.
    """
    name = origin()
    if name is not None and name not in {key.name for key in log_keys()}:
        raise NotNow(f"Put the public key of {name} into LOG_RETIRED_KEYS first.")


def admit_loss(outside: Sequence[Outside], statement: str, now: datetime) -> Succession:
    """Close the fenced log's name for good and go on under that of `LOG_SIGNING_KEY`: the
    entries that are left stay where they are, and the next one says whose they were, what was
    last signed of them as far as is known here and ``outside``, and by whose word
    (``statement``, which goes into a commitment).

    Raises:
        NotNow: the log is not fenced, nothing of it was ever signed, or the key is not a new
            one under a new name with the old one among `LOG_RETIRED_KEYS`.
        OutOfRange: there is no statement, or it is too long.
        LogContradicted: the log is no part of what was signed, but a fork: nothing may go on
            from it.
    """
    require_retired_key()
    if not statement.strip() or len(statement) > TEXT_LIMIT:
        raise OutOfRange(f"A statement has 1 to {TEXT_LIMIT} characters.")
    with transaction.atomic():
        SignedHead.objects.select_for_update().get(pk=1)
        asked(*IN_LINE)  # before the head, as every writer does
        Head.objects.select_for_update().get(pk=1)
        if standing_fence() is None:
            raise NotNow("The log is not fenced: it is open, and has lost nothing that is known.")
        head = tip()
        known = _known(outside)
        for one in known:
            _require_part(one.tree, head)
        require_whole(head)
        last = max(known, key=lambda one: one.tree.size)
        old = _require_new_key(last)
        made = _closed(old, last, head, now)
        lift((last,), head, f"closed as {old.name}", now)
        _state(made, statement, now)
    sign_checkpoint(now)
    return made


def _known(outside: Sequence[Outside]) -> list[Outside]:
    """What is known to have been signed under the name to be closed: by this database, by its
    fences, by the file of `LOG_MEMORY`, and what was given."""
    notes = list(Fence.objects.exclude(note="").values_list("note", flat=True))
    newest = Checkpoint.objects.order_by("-size", "-pk").values_list("note", flat=True).first()
    notes += filter(None, [newest, remembered_as_it_stands()])
    found = [*outside, *(read_outside(note.encode()) for note in notes)]
    name = origin() or (found[0].origin if found else None)
    known = [one for one in found if one.origin == name]
    if strange := [one.origin for one in outside if one.origin != name]:
        raise NotNow(f"This log is {name}; a checkpoint of {strange[0]} says nothing of it.")
    if not known:
        raise NotNow("Nothing of this log was ever signed: there is nothing to admit.")
    return known


def _require_part(tree: Tip, head: Tip) -> None:
    """What was signed of as much as is left here must be that. Of more, it cannot be told."""
    fault = shortfall(tree, head) if tree.size <= head.size else None
    if fault is not None:
        raise LogContradicted(f"{fault} Nothing may go on from it: look for another backup.")


def _require_new_key(last: Outside) -> VerifierKey:
    """The key under which the last checkpoint was signed."""
    new = log_signer().verifier
    before = {last.origin, *(name_of(one.old_key) for one in successions())}
    if new.name in before:
        raise NotNow(
            f"LOG_SIGNING_KEY is still of {new.name}, which is closed by this. Make a key under a "
            "new name (scalewitness-server new_log_key NAME) and put the public one of the old "
            "into LOG_RETIRED_KEYS."
        )
    old = next(key for key in log_keys() if key.name == last.origin and _vouches(key, last.note))
    if old.public == new.public:
        raise NotNow("LOG_SIGNING_KEY is the old key under another name. Make a new one.")
    return old


def _vouches(key: VerifierKey, note: str) -> bool:
    try:
        open_checkpoint(note, key)
    except BadNote:
        return False
    return True


def _closed(old: VerifierKey, last: Outside, head: Tip, now: datetime) -> Succession:
    """Before the fact enters: from here on no process with the old key has a say."""
    note = read_note(last.note)
    own = tuple(one for one in note.lines if (one.name, one.key_id) == (old.name, old.key_id))
    return Succession.objects.create(
        id=fresh_id(now),
        position=head.size,
        old_key=str(old),
        new_key=str(log_signer().verifier),
        checkpoint=str(Note(note.text, own)),
        missing=max(0, last.tree.size - head.size),
        at=now,
    )


def _state(made: Succession, statement: str, now: datetime) -> None:
    salt = os.urandom(SALT_BYTES)
    body = OriginSucceeded(
        old_key=made.old_key,
        new_key=made.new_key,
        checkpoint=made.checkpoint,
        kept=made.position,
        missing=made.missing,
        statement=commit(statement, salt),
    )
    writer = Writer()
    writer.add(Draft(made.id, KIND, None, None, now, made.id, msgspec.to_builtins(body)), now)
    Text.objects.create(fact=made.id, field="statement", salt=salt, text=statement)
    writer.flush()
