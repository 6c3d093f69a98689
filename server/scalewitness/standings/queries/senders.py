"""Whether what standings state of whoever sent a call is what other entries tell of them: that they
kept the animal, and what their footing then rested on.

That somebody else had an interest, and that nothing gave a footing to whom none is stated of but a
record of their own, rests on what was in force at one moment, which no entry states.
"""

from collections.abc import Iterator
from typing import NamedTuple
from uuid import UUID

import msgspec

from scalewitness.animals.models import Collection
from scalewitness.domain import facts
from scalewitness.domain.sexing.recomputing import OrderedFact
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import leaf_of
from scalewitness.standings.queries.footing import VOUCHERS, gives_footing

ABOUT_SENDERS = ("founder_named", "keeper_vouched", "examiner_record_changed", "deceit_found")


class _Sent(NamedTuple):
    """A call, and the collection that the animal was in."""

    call: OrderedFact
    home: UUID | None


class Senders:
    """Told of entries about animals in log order."""

    def __init__(self) -> None:
        self._homes: dict[UUID, UUID] = {}
        self._sent: dict[str, _Sent] = {}
        self._keepers: dict[UUID, UUID | None] = {}
        self._entries: dict[UUID, list[OrderedFact]] = {}

    def follow(self, fact: OrderedFact) -> None:
        match fact.body:
            case facts.AnimalRegistered(collection=home) | facts.CustodyChanged(to=home):
                self._homes[fact.about] = UUID(home)
            case facts.CallMade() | facts.CallRefiled():
                self._sent[fact.id] = _Sent(fact, self._homes.get(fact.about))

    def misstated(self, stated: facts.StandingChanged) -> Iterator[str]:
        """What of whoever sent its calls it states otherwise, as clauses."""
        for known in stated.admitted:
            sent = self._sent.get(known.call)
            if sent is None or sent.call.by is None:
                continue
            at, sender = sent.call.position, sent.call.by
            if not known.interested and sent.home and self._keeper_of(sent.home) == sender:
                yield f"interested of the call at {at} is stated as False, and its sender kept it"
            if why := self._no_such_footing(known.footing, sender, at):
                yield f"footing of the call at {at} is stated as {known.footing}, and {why}"

    def _keeper_of(self, collection: UUID) -> UUID | None:
        if collection not in self._keepers:
            found = Collection.objects.filter(pk=collection).values_list("keeper", flat=True)
            self._keepers[collection] = found.first()
        return self._keepers[collection]

    def _no_such_footing(self, footing: str | None, sender: UUID, at: int) -> str:
        """Why it cannot have been that; empty: it can."""
        if footing is None:
            return ""
        stated = [one for one in self._about(sender) if one.position < at]
        records = [one.body for one in stated if isinstance(one.body, facts.ExaminerRecordChanged)]
        has_record = bool(records) and gives_footing(records[-1])
        if any(isinstance(one.body, facts.DeceitFound) for one in stated):
            return "" if footing == "none" else "they had been found to deceive"
        if has_record != (footing == "record"):
            return f"their own record gave them {'one' if has_record else 'none'}"
        named = any(isinstance(one.body, facts.FounderNamed) for one in stated)
        if footing == "founder" and not named:
            return "nobody had named them"
        vouched = {one.by for one in stated if isinstance(one.body, facts.KeeperVouched)}
        if footing == "vouched" and len(vouched) < VOUCHERS:
            return f"{len(vouched)} had answered for them"
        return ""

    def _about(self, sender: UUID) -> list[OrderedFact]:
        if sender not in self._entries:
            rows = Entry.objects.filter(about=sender, kind__in=ABOUT_SENDERS).order_by("position")
            self._entries[sender] = [
                OrderedFact(
                    str(one.fact), one.by, one.claimed_at, one.position, sender,
                    msgspec.convert(leaf_of(one).body, facts.BODIES[one.kind]),
                )
                for one in rows
            ]  # fmt: skip
        return self._entries[sender]
