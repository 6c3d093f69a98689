"""Recompute every standing from the log alone and compare it with what was logged."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from uuid import UUID

import msgspec

from scalewitness.domain import facts
from scalewitness.domain.identifiers import BorneTransponders
from scalewitness.domain.sexing.recomputing import KINDS, OrderedFact, Recomputing
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import entries_by_position, entry_of, leaf_of
from scalewitness.standings.models import Standing

WITH_NUMBERS = KINDS | {"identifier_assigned", "identifier_withdrawn", "registered_in_error"}
"""What standings follow from, and which records bear which transponder."""


@dataclass(frozen=True, slots=True)
class StandingDifference:
    """A standing that the log does not bear out, by its position."""

    position: int
    animal: UUID
    what: str


def _fact(entry: Entry) -> OrderedFact | None:
    """None where it is about nothing."""
    if entry.about is None:
        return None
    body = msgspec.convert(leaf_of(entry).body, facts.BODIES[entry.kind])
    return OrderedFact(
        str(entry.fact), entry.by, entry.claimed_at, entry.position, entry.about, body
    )


def _call(call: str) -> OrderedFact | None:
    entry = entry_of(UUID(call))
    return _fact(entry) if entry else None


def unseen(position: int) -> None:
    """Nobody looks on."""


class Replay:
    """Walks the log once. ``checked`` counts the standings recomputed so far.

    Standings before ``since`` are taken as checked; what they rest on is followed all the
    same. ``seen`` is told each position once all about it has been said.
    """

    def __init__(self, since: int = 0, seen: Callable[[int], None] = unseen) -> None:
        self.checked = 0
        self.position = 0
        self._since, self._seen = since, seen
        self._recomputing = Recomputing(_call)
        self._transponders = BorneTransponders[UUID]()
        rows = Standing.objects.filter(position__gte=since).order_by("position")
        self._stored = rows.iterator(chunk_size=1000)
        self._row = next(self._stored, None)

    def differences(self) -> Iterator[StandingDifference]:
        for entry in entries_by_position(WITH_NUMBERS):
            self.position = entry.position
            fact = _fact(entry)
            if fact is not None and isinstance(fact.body, facts.StandingChanged):
                yield from self._check(entry, fact.about, fact.body)
            elif fact is not None:
                self._recomputing.follow(fact)
                self._follow_identity(fact)
            self._seen(entry.position)
        yield from self._strays(None)

    def _strays(self, before: int | None) -> Iterator[StandingDifference]:
        """Stored standings that the log does not have, up to a position or to the end."""
        while self._row is not None and (before is None or self._row.position < before):
            what = "a standing that the log does not hold"
            yield StandingDifference(self._row.position, self._row.animal_id, what)
            self._row = next(self._stored, None)

    def _follow_identity(self, fact: OrderedFact) -> None:
        about, body = fact.about, fact.body
        match body:
            case facts.IdentifierAssigned():
                self._transponders.assign(about, body.scheme, body.code, fact.position)
            case facts.IdentifierWithdrawn():
                self._transponders.withdraw(about, body.scheme, body.code)
            case facts.RegisteredInError():
                self._transponders.forget(about)

    def _check(
        self, entry: Entry, animal: UUID, logged: facts.StandingChanged
    ) -> Iterator[StandingDifference]:
        self._recomputing.admit(animal, logged)
        if entry.position >= self._since:
            self.checked += 1
            yield from self._recompute(entry, animal, logged)
            yield from self._look_elsewhere(entry, animal, logged)
            yield from self._strays(entry.position)
            yield from self._compare(entry, animal, logged)
        self._recomputing.stand(animal, logged)

    def _recompute(
        self, entry: Entry, animal: UUID, logged: facts.StandingChanged
    ) -> Iterator[StandingDifference]:
        again = self._recomputing.work_out(animal, logged)
        if again.calls_elsewhere != logged.calls_elsewhere:
            what = (
                f"counts {logged.calls_elsewhere} calls of other records, "
                f"not {again.calls_elsewhere}"
            )
            yield StandingDifference(entry.position, animal, what)
        names = [one for one in again._fields if one != "calls_elsewhere"]
        if any(getattr(again, one) != (getattr(logged, one) or "") for one in names):
            what = f"logged {logged.label}, recomputed {again[:3]}"
            yield StandingDifference(entry.position, animal, what)

    def _look_elsewhere(
        self, entry: Entry, animal: UUID, logged: facts.StandingChanged
    ) -> Iterator[StandingDifference]:
        """Once said, it is so until the number is another's no more. A record that had its number
        before this was asked is told so with the next fact about it; and once it was the first
        record's, whoever had checked either."""
        own = self._recomputing.same_snake(animal)
        elsewhere = self._transponders.holders(animal, self._first_check) - own
        first = self._transponders.first_bearers(animal) - own
        if logged.known_elsewhere and not (elsewhere or first):
            yield StandingDifference(entry.position, animal, "its number is not known elsewhere")
        stated_before = self._recomputing.past(animal).known_elsewhere
        if elsewhere and stated_before and not logged.known_elsewhere:
            what = "its number is known elsewhere, which is not said any more"
            yield StandingDifference(entry.position, animal, what)

    def _first_check(self, animal: UUID, code: str, until: int) -> int | None:
        return self._recomputing.past(animal).first_check(code, until, self._recomputing.deceivers)

    def _compare(
        self, entry: Entry, animal: UUID, logged: facts.StandingChanged
    ) -> Iterator[StandingDifference]:
        row = self._row
        if row is None or row.position != entry.position:
            yield StandingDifference(entry.position, animal, "the stored standing is missing")
            return
        self._row = next(self._stored, None)
        stated = ("label", "p_male", "p_male_pessimistic", "known_elsewhere", "calls_elsewhere")
        if any(getattr(row, one) != getattr(logged, one) for one in stated):
            yield StandingDifference(
                entry.position, animal, "the stored standing differs from the log"
            )
