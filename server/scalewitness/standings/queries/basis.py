"""What an animal's standing is worked out from, read once for all that is asked of it."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from uuid import UUID

from scalewitness.animals.models import Animal
from scalewitness.animals.queries.joining import same_snake
from scalewitness.domain.facts import LinkageStated
from scalewitness.domain.sexing.evidence import Evidence
from scalewitness.domain.sexing.parameters import Parameters
from scalewitness.domain.sexing.stated_linkage import Origin, Start, start_from
from scalewitness.ledger.queries.together import read_together
from scalewitness.standings.models import Standing, StatedLinkage
from scalewitness.standings.queries.assessing import Yardstick, origin_at, yardstick
from scalewitness.standings.queries.evidence import (
    CallAsMade,
    StatedCall,
    calls_on,
    counted_at,
    evidence_of,
    waited_at,
)
from scalewitness.standings.queries.linkage import last_stated, linkages_of, origin_of
from scalewitness.standings.queries.logged import StandingHeard, standings_of


@dataclass(frozen=True)
class StandingBasis:
    """As things are now, or just after the fact at ``position``."""

    animal: Animal
    position: int | None
    standings: tuple[StandingHeard, ...]
    """All that were logged until then, in log order."""
    rule: Yardstick
    """What was in force then."""
    origin: Origin
    """What the particulars then said."""
    linkage: LinkageStated | None
    same: frozenset[UUID]
    """The records of this snake: its own and those that it was joined with."""
    made: tuple[CallAsMade, ...]
    """Every call on any of them, in log order, whether it counts or not: those on another are for
    whoever may see them there."""

    @property
    def of_its_own(self) -> list[CallAsMade]:
        """Those on its own record."""
        return [one for one in self.made if one.animal_id == self.animal.pk]

    @property
    def standing(self) -> Standing | None:
        """The one in force; None: nothing that could tell a sex was recorded yet."""
        return self.standings[-1] if self.standings else None

    @cached_property
    def by(self) -> Yardstick:
        """What the standing was measured with: the rule, with the numbers that it names."""
        return self.rule.as_stated(self.standing)

    def start(self, numbers: Parameters) -> Start:
        """Where the answer starts before any check."""
        return start_from(self.linkage, self.origin, numbers)

    @cached_property
    def counting(self) -> list[StatedCall]:
        """Those that count."""
        return [one for one in self.made if counted_at(one, self.position)]

    @cached_property
    def evidence(self) -> list[Evidence]:
        return [evidence_of(one) for one in self.counting]

    @property
    def waited(self) -> list[StatedCall]:
        """Newcomers' contrary calls that are left out."""
        return [one for one in self.made if waited_at(one, self.position)]


def basis_of(animal: Animal, at: int | None = None) -> StandingBasis:
    """As things are, or were at log position ``at``; the caller has checked that what is made of
    it may be shown."""
    stated, linkages = read_together(standings_of(animal.pk), linkages_of(animal.pk))
    return basis_from(animal, stated, linkages, at)


def basis_from(
    animal: Animal,
    stated: Iterable[StandingHeard],
    linkages: Iterable[StatedLinkage],
    at: int | None = None,
) -> StandingBasis:
    """The same from all that was ever stated of the animal."""
    standings = [one for one in stated if at is None or one.position <= at]
    # The standing came after its cause, and nothing about it changed until the next.
    position = None if at is None else standings[-1].position if standings else -1
    same = same_snake(animal.pk, position)
    return StandingBasis(
        animal=animal,
        position=position,
        standings=tuple(standings),
        rule=yardstick(position),
        origin=origin_of(animal) if position is None else origin_at(animal, position),
        linkage=last_stated(linkages, position),
        same=frozenset(same),
        made=tuple(calls_on(same, position, at)),
    )
