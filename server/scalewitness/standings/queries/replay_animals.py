"""Animals that are judged together, as the log tells of them, and their standings recomputed."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import chain
from uuid import UUID

import msgspec

from scalewitness.domain import facts
from scalewitness.domain.identifiers import BorneTransponders
from scalewitness.domain.sexing.as_accepted import AsAccepted
from scalewitness.domain.sexing.recomputing import OrderedFact, Recomputing
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import entry_of, leaf_of
from scalewitness.standings.queries.rules_as_of import RulesAsOf
from scalewitness.standings.queries.senders import Senders


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


def cannot_go_on(position: int, about: UUID | None, fault: Exception) -> StandingDifference:
    what = f"standings cannot be recomputed from here on: {fault!r}"
    return StandingDifference(position, about or UUID(int=0), what)


class Retraced:
    """Animals that are judged together, followed through all entries about them in log order.

    ``stated``: each standing from ``since`` on that was recomputed, by position; earlier ones are
    taken as checked. ``position``: of the entry read last.
    """

    def __init__(self, rules: RulesAsOf, since: int) -> None:
        self.position = 0
        self.stated: list[tuple[int, UUID, facts.StandingChanged]] = []
        self._rules, self._since = rules, since
        self._recomputing = Recomputing(_call, rules)
        self._accepted = AsAccepted(self._recomputing)
        self._senders = Senders()
        self._transponders = BorneTransponders[UUID]()

    def over(self, entries: Iterable[Entry]) -> Iterator[StandingDifference]:
        """What differs, in order.

        Raises:
            ValueError, LookupError, MsgspecError: nothing follows from the entry at ``position``.
        """
        for entry in entries:
            self.position = entry.position
            fact = _fact(entry)
            if fact is None:
                continue
            if isinstance(fact.body, facts.StandingChanged):
                yield from self._check(entry, fact.about, fact.body)
            else:
                self._accepted.follow(fact)
                self._senders.follow(fact)
                self._recomputing.follow(fact)
                self._follow_identity(fact)

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
            self._rules.position = entry.position
            yield from self._recompute(entry, animal, logged)
            accepted = self._accepted.misstated(animal, logged)
            for what in chain(accepted, self._senders.misstated(logged)):
                yield StandingDifference(entry.position, animal, what)
            yield from self._look_elsewhere(entry, animal, logged)
            self.stated.append((entry.position, animal, logged))
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
        return self._recomputing.past(animal).first_check(code, until, self._rules.deceivers)
