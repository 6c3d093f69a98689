"""The one way in: every fact, from every edge, passes through `accept`."""

import os
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any, Literal, TypeVar
from uuid import UUID

import msgspec
from django.db import DatabaseError, transaction

from scalewitness.calls.models import HeldCall
from scalewitness.domain.errors import IdReused, Refused
from scalewitness.domain.translog.commitment import commit
from scalewitness.intake.batch import Actor, Batch
from scalewitness.intake.consequences import settle
from scalewitness.intake.kinds import NEEDS_SETTLED, RULES
from scalewitness.intake.submission import Sealed, Submission, read, seal
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import entries_of, salts_of
from scalewitness.ledger.services.writing import Draft
from scalewitness.mail import services as mail

T = TypeVar("T")
R = TypeVar("R")


class Outcome(msgspec.Struct, frozen=True, omit_defaults=True):
    """What became of one item. ``position`` for accepted and duplicate, ``problem`` (RFC
    9457 members) for refused; ``flags`` such as ``clock_ahead``."""

    id: str | None
    status: Literal["accepted", "duplicate", "held", "refused"]
    position: int | None = None
    flags: tuple[str, ...] = ()
    problem: dict[str, Any] | None = None


def accept(items: Sequence[object], actor: Actor, received_at: datetime) -> list[Outcome]:
    """Take a batch: one transaction, one outcome an item, in order.

    Each item is accepted, a duplicate, held or refused on its own; what a fact causes
    (standing, holds, disclosures, disputes, letters) is in the same transaction. When this
    returns, the transaction has been committed unless the caller opened an outer one.
    """
    prepared = _prepare(items, received_at)
    try:
        with transaction.atomic():
            outcomes, owes = _take(prepared, actor, received_at, careful=False)
    except DatabaseError:
        # A value no check foresaw. Take the items one savepoint each, so that only the
        # one at fault is refused. Nothing of the first attempt was kept.
        with transaction.atomic():
            outcomes, owes = _take(prepared, actor, received_at, careful=True)
    if owes:
        transaction.on_commit(mail.wake)
    return outcomes


def accept_one(item: object, actor: Actor, received_at: datetime) -> Outcome:
    """Take a single fact.

    Raises:
        Refused: the item's own refusal, for the edge to translate.
    """
    outcome = accept([item], actor, received_at)[0]
    if outcome.problem is not None:
        raise Replayed(outcome.problem)
    return outcome


class Replayed(Refused):
    """A refusal that already is problem details."""

    def __init__(self, problem: dict[str, Any]) -> None:
        super().__init__(problem["detail"])
        self.problem = problem

    def as_problem(self) -> dict[str, Any]:
        return self.problem


def _prepare(items: Sequence[object], received_at: datetime) -> list[Sealed | Refused]:
    """Parse and seal outside the lock: whoever waits for it waits for no parsing."""
    read_items = [_attempt(read, item) for item in items]
    return [
        _attempt(lambda one: seal(one, received_at, _fresh_salt), one)
        if isinstance(one, Submission)
        else one
        for one in read_items
    ]


def _fresh_salt(field: str) -> bytes:
    """For a text not seen before; one that was is given its kept salt under the lock."""
    return os.urandom(32)


def _attempt(step: Callable[[T], R], value: T) -> R | Refused:
    try:
        return step(value)
    except Refused as refused:
        return refused


def _take(
    prepared: Sequence[Sealed | Refused], actor: Actor, received_at: datetime, *, careful: bool
) -> tuple[list[Outcome], bool]:
    ids = [one.id for one in prepared if isinstance(one, Sealed)]
    batch = Batch(actor, received_at)
    seen = _Seen(ids, actor)
    outcomes = [_one(item, batch, seen, careful=careful) for item in prepared]
    settle(batch)
    batch.flush()
    return outcomes, batch.owes_letters


def _one(item: Sealed | Refused, batch: Batch, seen: "_Seen", *, careful: bool) -> Outcome:
    if isinstance(item, Refused):
        return Outcome(None, "refused", problem=item.as_problem())
    try:
        earlier = seen.outcome(item)
        if earlier is not None:
            return earlier
        if item.kind in NEEDS_SETTLED or item.about in batch.touched:
            settle(batch)
        position = _apply(item, batch, careful=careful)
    except Refused as refused:
        return Outcome(str(item.id), "refused", problem=refused.as_problem())
    outcome = (
        Outcome(str(item.id), "held", flags=item.flags)
        if position is None
        else Outcome(str(item.id), "accepted", position, item.flags)
    )
    seen.add(item, outcome)
    return outcome


def _apply(item: Sealed, batch: Batch, *, careful: bool) -> int | None:
    rule = RULES[item.kind]
    if not careful:
        return rule(item, batch)
    mark = batch.mark()
    try:
        with transaction.atomic():
            return rule(item, batch)
    except DatabaseError:
        batch.rewind(mark)
        raise Refused("The record could not store this item.") from None


class _Seen:
    """Ids already known, in the log or earlier in this batch: the same again is a
    duplicate, anything else under the same id is refused."""

    def __init__(self, ids: Sequence[UUID], actor: Actor) -> None:
        self._actor = actor
        self._entries = entries_of(ids)
        self._held = {held.pk: held for held in HeldCall.objects.filter(pk__in=ids)}
        self._salts = salts_of(ids)
        self._now: dict[UUID, tuple[Sealed, Outcome]] = {}

    def add(self, item: Sealed, outcome: Outcome) -> None:
        self._now[item.id] = (item, outcome)
        self._salts |= {(item.id, field): salt for field, (salt, _) in item.texts.items()}

    def outcome(self, item: Sealed) -> Outcome | None:
        """What became of the item before; None when its id is new."""
        item = self._resalted(item)
        if item.id in self._now:
            before, outcome = self._now[item.id]
            return self._again(item, self._as_logged(before), outcome.position, outcome.status)
        if entry := self._entries.get(item.id):
            return self._again(item, bytes(entry.leaf), entry.position, "duplicate", entry)
        if held := self._held.get(item.id):
            same = (held.by, held.animal_id, held.submission["at"], held.submission["body"]) == (
                self._actor.by,
                item.about,
                item.at.isoformat(),
                _json(item),
            )
            if not same:
                raise IdReused()
            return Outcome(str(item.id), "held", flags=item.flags)
        return None

    def _resalted(self, item: Sealed) -> Sealed:
        """The item with its texts under the salts kept for it: each sending drew its own."""
        texts = {
            field: (self._salts.get((item.id, field), salt), text)
            for field, (salt, text) in item.texts.items()
        }
        made = {field: commit(text, salt) for field, (salt, text) in texts.items()}
        body = msgspec.structs.replace(item.body, **made)
        return msgspec.structs.replace(item, body=body, texts=texts)

    def _again(
        self,
        item: Sealed,
        leaf: bytes,
        position: int | None,
        status: str,
        entry: Entry | None = None,
    ) -> Outcome:
        if self._as_logged(item, entry) != leaf:
            raise IdReused()
        if status == "held":
            return Outcome(str(item.id), "held", flags=item.flags)
        return Outcome(str(item.id), "duplicate", position, item.flags)

    def _as_logged(self, item: Sealed, entry: Entry | None = None) -> bytes:
        """The item's leaf. A repeat from another device of the same keeper is the same."""
        return Draft(
            id=item.id,
            kind=item.kind,
            by=self._actor.by,
            device=entry.device if entry else self._actor.device,
            at=item.at,
            about=item.about,
            body=item.logged_body(),
        ).leaf()


def _json(item: Sealed) -> Any:
    return msgspec.json.decode(msgspec.json.encode(item.logged_body()))
