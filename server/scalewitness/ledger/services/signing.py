"""Signing checkpoints: never two that contradict each other."""

from datetime import datetime, timedelta

from django.conf import settings
from django.db import transaction
from django.db.models import Q

from scalewitness.domain.errors import Fenced, LogContradicted, NotNow
from scalewitness.domain.translog.checkpoints import Checkpoint as Head
from scalewitness.domain.translog.key_changes import changed
from scalewitness.domain.translog.keys import Signer, VerifierKey, read_signer, read_verifier
from scalewitness.domain.translog.notes import signed
from scalewitness.ledger.models import Checkpoint, GivenOut, SignedHead
from scalewitness.ledger.queries.entries import entry_at
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.ledger.queries.mapping import latest_map
from scalewitness.ledger.queries.origins import heir_of, key_changes, origin
from scalewitness.ledger.queries.tree import (
    Tip,
    continues,
    is_given_out,
    latest_checkpoint,
    root_at,
    tip,
)
from scalewitness.ledger.services.fencing import watch
from scalewitness.ledger.services.mapping import state_map
from scalewitness.ledger.services.memory import SoleSigner, only_signer
from scalewitness.replica import at_primary


def log_signer() -> Signer:
    """What this process signs with; its name is the log's origin. Once the log was given over to
    `LOG_NEXT_KEY` that is it, whatever the settings still say."""
    own = read_signer(settings.LOG_SIGNING_KEY)
    following = read_signer(settings.LOG_NEXT_KEY) if settings.LOG_NEXT_KEY else own
    return following if following.verifier == log_key() else own


def log_key() -> VerifierKey:
    """The public key that the log is signed under, also where this process lacks the private one
    as it was not started anew."""
    return keys_of_all_notes()[0]


def keys_of_all_notes() -> list[VerifierKey]:
    """:func:`log_key`, and the keys that older notes are signed under, the latest first: those that
    gave the log over, and those of `LOG_RETIRED_KEYS`."""
    changes = key_changes()
    present = heir_of(str(read_signer(settings.LOG_SIGNING_KEY).verifier), changes)
    gave = [one.replaces for one in reversed(changes) if one.replaces]
    keys = dict.fromkeys((present, *gave, *settings.LOG_RETIRED_KEYS))
    return list(map(read_verifier, keys))


def current_checkpoint(now: datetime) -> Checkpoint:
    """What the log last vouched for under its present key; signed now where it never was.

    Raises:
        LogContradicted, Fenced: as :func:`sign_checkpoint`, where something is to be signed.
    """
    require_origin()
    return latest_checkpoint(str(log_key())) or sign_checkpoint(now)


def checkpoint_over(position: int, now: datetime) -> Checkpoint:
    """A checkpoint whose tree holds the entry at ``position``, signed now if need be.

    Raises:
        LogContradicted, Fenced: as :func:`sign_checkpoint`.
    """
    current = current_checkpoint(now)
    return current if current.size > position else sign_checkpoint(now)


def sign_checkpoint(now: datetime) -> Checkpoint:
    """The latest checkpoint, signed now if the log has grown since or the key is new. The last
    entry of its tree states the map of subjects over all the others.

    The largest tree ever signed is compared and swapped under its row lock. The checkpoint is
    given out only after its commit, and once it is remembered outside the database.

    Raises:
        LogContradicted: the log is smaller than what was signed, or not its continuation.
        Fenced: the log is fenced, and this head was not signed before.
        OSError: what remembers the latest checkpoint cannot be used.
        Busy: another process signs.
        CommitUnknown: nobody can tell whether it stays; it is not given out.
    """
    at_primary()
    if watch(now) is None:
        require_origin()
        _require_growth(_last_signed(SignedHead.objects.get(pk=1)), tip())
        state_map(now)
    with only_signer() as own:
        with transaction.atomic():
            checkpoint = _signed(own, now)
        _give_out(checkpoint, own)
    return checkpoint


def _signed(own: SoleSigner, now: datetime) -> Checkpoint:
    """The checkpoint over what is to be signed, of now or of before. Locking the row is something
    to commit: once that is done, all that was read here has reached the standbys."""
    last = SignedHead.objects.select_for_update().get(pk=1)
    require_origin()  # under the lock: the name may have been closed meanwhile
    signer = _present_signer()
    head = _to_sign()  # read after the lock was got: READ COMMITTED sees the latest commit
    key = str(signer.verifier)
    kept = Checkpoint.objects.filter(size=head.size, key=key).first()
    _require_growth(_last_signed(last), head)
    if kept is not None:
        return kept
    if standing_fence() is not None:
        raise Fenced()
    own.require(head)
    _swap(last, head)
    note = signed(Head(signer.name, head.size, head.root).body(), signer)
    return Checkpoint.objects.create(
        size=head.size, root=head.root, key=key, note=str(note), signed_at=now
    )


def _give_out(checkpoint: Checkpoint, own: SoleSigner) -> None:
    """To be called after a commit of :func:`_signed`'s. Not while a fence stands: what was not
    given out before it is not now."""
    if is_given_out(checkpoint.size):
        return
    if standing_fence() is not None:
        raise Fenced()
    own.remember(checkpoint.note, Tip(checkpoint.size, bytes(checkpoint.root)))
    GivenOut.objects.bulk_create([GivenOut(size=checkpoint.size)], ignore_conflicts=True)


def sign_in_time(now: datetime) -> Checkpoint:
    """As :func:`sign_checkpoint`; where nothing came in for half the time that is promised, the
    map is stated once more, so that what is signed tells when that was.

    Raises:
        LogContradicted, Fenced, OSError, Busy: as :func:`sign_checkpoint`.
    """
    if _is_due(now) and watch(now) is None:
        require_origin()
        state_map(now, anew=True)
    return sign_checkpoint(now)


def _is_due(now: datetime) -> bool:
    last = entry_at(tip().size - 1)
    half = timedelta(seconds=settings.LOG_SIGNS_WITHIN / 2)
    return last is not None and now - last.received_at >= half


def give_over(now: datetime) -> Checkpoint:
    """Give the log over from its key to `LOG_NEXT_KEY`: the checkpoint that says so is signed under
    both, and from there on nothing is signed under the old one. It is over a tree that nothing
    else was signed of, so that no cosignature under it is of another text.

    Raises:
        NotNow: there is no next key, it signed for the log before, or nothing is in the log.
        LogContradicted, Fenced, OSError, Busy: as :func:`sign_checkpoint`.
    """
    if watch(now) is not None:
        raise Fenced()
    if not settings.LOG_NEXT_KEY:
        raise NotNow("Put the new private key into LOG_NEXT_KEY, and restart every process.")
    if tip().size == 0:
        raise NotNow("Nothing is in the log yet: put the new key into LOG_SIGNING_KEY.")
    require_origin()
    made = None
    while made is None:
        state_map(now, anew=True)
        with only_signer() as own:
            with transaction.atomic():
                made = _given_over(read_signer(settings.LOG_NEXT_KEY), own, now)
            if made is not None:
                _give_out(made, own)
    return made


def _given_over(new: Signer, own: SoleSigner, now: datetime) -> Checkpoint | None:
    """None where another process signed the tree first."""
    last = SignedHead.objects.select_for_update().get(pk=1)
    require_origin()
    old, head, new_key = _present_signer(), _to_sign(), str(new.verifier)
    if Checkpoint.objects.filter(Q(key=new_key) | Q(replaces=new_key)).exists():
        raise NotNow("The key in LOG_NEXT_KEY has signed for this log before: make a new one.")
    if old.verifier.public == new.verifier.public:
        raise NotNow("LOG_NEXT_KEY is the key that the log has.")
    _require_growth(_last_signed(last), head)
    if standing_fence() is not None:
        raise Fenced()
    if Checkpoint.objects.filter(size=head.size).exists():
        return None
    own.require(head)
    _swap(last, head)
    return Checkpoint.objects.create(
        size=head.size,
        root=head.root,
        key=new_key,
        note=str(changed(Head(old.name, head.size, head.root), old, new)),
        signed_at=now,
        replaces=str(old.verifier),
    )


def _present_signer() -> Signer:
    """Raises LogContradicted where the log was given over to a key that this process lacks."""
    signer = log_signer()
    if signer.verifier != log_key():
        raise LogContradicted(
            f"The log was given over to {log_key()}, which this process has not: put it into "
            "LOG_SIGNING_KEY and restart."
        )
    return signer


def _to_sign() -> Tip:
    """The tree that ends where the map was last stated, the empty one where the log's first
    entries came in only now; while the log is fenced, all of it, as nothing is signed then but
    what was signed before."""
    head = tip()
    if head.size == 0 or standing_fence() is not None:
        return head
    stated = latest_map()
    size = 0 if stated is None else stated.position + 1
    return head if size == head.size else Tip(size, root_at(size))


def _last_signed(row: SignedHead) -> Tip:
    return Tip(row.size, bytes(row.root))


def require_origin() -> None:
    """See that this process signs under the log's present name. Under one that was closed
    nothing is signed ever again; under a new one nothing before the loss is admitted.

    Raises:
        LogContradicted: it does not.
    """
    name, present = log_signer().name, origin()
    if present is not None and name != present:
        raise LogContradicted(
            f"LOG_SIGNING_KEY is of {name}, and this log is {present}. Under another name than its "
            "own a log signs nothing."
        )


def _require_growth(last: Tip, head: Tip) -> None:
    if not continues(last, head):
        raise LogContradicted()


def _swap(last: SignedHead, head: Tip) -> None:
    swapped = SignedHead.objects.filter(pk=1, size=last.size, root=last.root).update(
        size=head.size, root=head.root
    )
    if swapped != 1:
        raise LogContradicted()
