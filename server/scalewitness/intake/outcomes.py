"""What became of an item, this time and before."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from typing import Any, Literal
from uuid import UUID

import msgspec

from scalewitness.calls.models import HeldCall
from scalewitness.calls.queries.held import decision_of
from scalewitness.domain.errors import IdReused, NotAllowed, Refused
from scalewitness.domain.sync import Clash
from scalewitness.domain.translog.commitment import commit
from scalewitness.domain.translog.leaf import Stamp, signed_bytes
from scalewitness.domain.translog.sealing import SealedCall
from scalewitness.intake.batch import Actor, draft_of
from scalewitness.intake.sealing import sealed_calls
from scalewitness.intake.submission import Sealed
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import entries_of, leaf_of, salts_of
from scalewitness.ledger.queries.prepared import PreparedQuery, asked, ids_literal
from scalewitness.ledger.services.writing import Draft


class Outcome(msgspec.Struct, frozen=True, omit_defaults=True):
    """What became of one item. ``id`` as it was sent; null where no text could be read there,
    or one much longer than an id. Of a fact: ``position`` for accepted and duplicate, ``flags``
    such as ``clock_ahead``, or ``known_elsewhere`` of a number that another record bears, and
    ``stamp``, with which its sender can make the entry's very bytes (none where the entry is of
    version 1). Of an
    held call: the ``seal`` that its sender keeps. Of an
    edit: the ``version`` its record has now (of a duplicate: had then), and for a conflict both
    values of each field that someone else set meanwhile; nothing was changed. ``problem`` (RFC
    9457 members) for refused."""

    id: str | None
    status: Literal["accepted", "duplicate", "held", "refused", "conflict"]
    position: int | None = None
    flags: tuple[str, ...] = ()
    problem: dict[str, Any] | None = None
    version: int | None = None
    conflicts: dict[str, Clash] | None = None
    stamp: Stamp | None = None
    seal: SealedCall | None = None


NAMED = 200
"""Characters of an id that are given back; ids have 36, the rest is somebody's mistake."""


def named(items: Sequence[object], outcomes: Iterable[Outcome]) -> list[Outcome]:
    """Each outcome with the id that its item came with, also where the item was refused before
    its id was looked at: outcomes answer by place, and this lets their reader check it."""
    return [
        msgspec.structs.replace(outcome, id=_id_sent(item)) if outcome.id is None else outcome
        for item, outcome in zip(items, outcomes, strict=True)
    ]


def _id_sent(item: object) -> str | None:
    sent = item.get("id") if isinstance(item, Mapping) else None
    return sent if isinstance(sent, str) and len(sent) <= NAMED else None


@dataclass(frozen=True, slots=True)
class _Earlier:
    """A fact known by its id: what it says, from which device, signed with what."""

    signable: Callable[[], bytes]
    device: UUID | None
    sig: str | None
    status: Literal["duplicate", "held"]
    position: int | None = None
    stamp: Stamp | None = None
    is_refused: bool = False
    """By whoever it waited for."""
    seal: SealedCall | None = None


KNOWN = """
SELECT fact FROM ledger_entry WHERE fact = ANY(%(ids)s::uuid[])
UNION ALL SELECT id FROM calls_heldcall WHERE id = ANY(%(ids)s::uuid[])
"""


def known_question(prepared: Iterable[Sealed | Refused]) -> PreparedQuery:
    """What `known_among` will ask."""
    ids = (one.id for one in prepared if isinstance(one, Sealed))
    return PreparedQuery(KNOWN, {"ids": ids_literal(ids)})


def known_among(prepared: Iterable[Sealed | Refused]) -> list[UUID]:
    """Those of the items' ids that stand for something already."""
    return [one for (one,) in asked(*known_question(prepared))]


class KnownIds:
    """Ids already known, in the log or earlier in this batch: the same again is a
    duplicate, anything else under the same id is refused.

    A repeat is the same from any device of its keeper, and with or without a signature: the
    first one to arrive is kept as it came.
    """

    def __init__(self, actor: Actor, known: Sequence[UUID]) -> None:
        """``known``: those of the batch's ids that are, mostly none."""
        self._actor = actor
        self._earlier: dict[UUID, _Earlier] = {}
        self._salts: dict[tuple[UUID, str], bytes] = {}
        if known:
            held = list(HeldCall.objects.filter(pk__in=known).select_related("seal", "decision"))
            seals = dict(sealed_calls(held))
            self._earlier |= {one.pk: _held(one, seals.get(one.pk)) for one in held}
            self._earlier |= {fact: _logged(entry) for fact, entry in entries_of(known).items()}
            self._salts |= salts_of(known)

    def add(self, item: Sealed, outcome: Outcome) -> None:
        status: Literal["duplicate", "held"] = "held" if outcome.status == "held" else "duplicate"
        self._earlier[item.id] = _Earlier(
            partial(_signable, item, self._actor),
            self._actor.device,
            item.sig,
            status,
            outcome.position,
            outcome.stamp,
            seal=outcome.seal,
        )
        self._salts |= {(item.id, field): salt for field, (salt, _) in item.texts.items()}

    def has(self, item: Sealed) -> bool:
        """Whether this very fact came before with this very signature: it was checked then,
        and counts although its device may be revoked by now."""
        earlier = self._earlier.get(item.id)
        return (
            earlier is not None
            and item.sig is not None
            and item.sig == earlier.sig
            and self._same(item, earlier)
        )

    def outcome(self, item: Sealed) -> Outcome | None:
        """What became of the item before; None when its id is new.

        Raises:
            IdReused: its id stands for something else.
        NotAllowed: it was held, and its keeper did not admit it.
        """
        earlier = self._earlier.get(item.id)
        if earlier is None:
            return None
        if not self._same(item, earlier):
            raise IdReused()
        if earlier.is_refused:
            raise NotAllowed("It came long after the visit, and its keeper did not admit it.")
        status, position, stamp = earlier.status, earlier.position, earlier.stamp
        return Outcome(str(item.id), status, position, item.flags, stamp=stamp, seal=earlier.seal)

    def _same(self, item: Sealed, earlier: _Earlier) -> bool:
        sender = replace(self._actor, device=earlier.device)
        return draft_of(self._resalted(item), sender).signable() == earlier.signable()

    def _resalted(self, item: Sealed) -> Sealed:
        """The item with its texts under the salts kept for it: each sending drew its own."""
        texts = {
            field: (self._salts.get((item.id, field), salt), text)
            for field, (salt, text) in item.texts.items()
        }
        made = {field: commit(text, salt) for field, (salt, text) in texts.items()}
        body = msgspec.structs.replace(item.body, **made)
        return msgspec.structs.replace(item, body=body, texts=texts)


def _signable(item: Sealed, actor: Actor) -> bytes:
    return draft_of(item, actor).signable()


def _logged(entry: Entry) -> _Earlier:
    leaf = leaf_of(entry)
    stated = partial(signed_bytes, leaf)
    return _Earlier(stated, entry.device, leaf.sig, "duplicate", entry.position, leaf.stamp)


def _held(held: HeldCall, seal: SealedCall | None) -> _Earlier:
    kept = held.submission
    draft = Draft(
        id=held.pk,
        kind=held.kind,
        by=held.by,
        device=held.device,
        at=datetime.fromisoformat(kept["at"]),
        about=held.animal_id,
        body=kept["body"],
    )
    is_refused = decision_of(held) is False
    return _Earlier(
        draft.signable, held.device, kept.get("sig"), "held", is_refused=is_refused, seal=seal
    )
