"""The checks that can be made of a season's animals before they are put together, for stewards."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from uuid import UUID

from msgspec.structs import replace

from scalewitness.animals.models import Animal, Collection
from scalewitness.disputes.queries.disputes import at_stake
from scalewitness.domain.season.check_first import PossibleCheck
from scalewitness.domain.season.feasible_checks import checks_of_claims, checks_of_sex
from scalewitness.domain.season.figures import season_number
from scalewitness.domain.season.scenarios import Scenarios
from scalewitness.domain.sexing.feasible import WITHOUT_THE_ANIMAL, Condition
from scalewitness.domain.sexing.weighing import Weighing
from scalewitness.planning.available import ANYBODY, Examiners, Party, examiners_for
from scalewitness.planning.candidates import AtStake, Ready, candidates
from scalewitness.planning.plans import RESTED, WEIGHED
from scalewitness.seasons.queries.inputs import SeasonRead
from scalewitness.standings.queries.assessing import Yardstick, yardstick

LABORATORY = "laboratory"


def checks_before_pairing(
    read: SeasonRead, collection: Collection, now: datetime
) -> Iterator[tuple[PossibleCheck, Party]]:
    """Of the animals there whose sex or claims are not sure, those in the plan first, by their
    keeper, by anybody, by a laboratory; and whose check it is. As of a day when they are rested:
    what today stands in the way, as a meal, does not in the weeks before pairing."""
    own = _own(read, collection)
    animals = _unsure(read, own)
    stake = at_stake([one.pk for one in animals], now)
    who = _examiners(collection, animals, stake, now)
    rule = yardstick()
    for ready in candidates(animals, stake, rule.numbers, now):
        for check in _of_sex(ready, who, rule, now):
            yield check, who.parties[check.examiner]
    scenarios = Scenarios(read.season)
    for key in own:
        for check in checks_of_claims(scenarios, str(key), LABORATORY):
            yield check, who.parties[LABORATORY]


def _of_sex(
    ready: Ready, who: Examiners, rule: Yardstick, now: datetime
) -> Iterable[PossibleCheck]:
    rested = Condition(examined=tuple(ready.candidate.examined()))
    candidate = replace(ready.candidate, condition=rested)
    at = round((now + RESTED).timestamp() * 1000)
    weighing = Weighing.of(candidate, at, rule.records, rule.policy, rule.numbers)
    found = checks_of_sex(weighing, who.available)
    return (one for one in found if not ready.leave_alone or one.method in WITHOUT_THE_ANIMAL)


def _unsure(read: SeasonRead, own: Iterable[UUID]) -> list[Animal]:
    sure = season_number("from", "uncertain")
    unsure = {UUID(one.animal) for one in read.season.animals if sure <= one.p_male <= 1 - sure}
    wanted = [key for key in own if key in unsure][:WEIGHED]
    found: Mapping[UUID, Animal] = Animal.objects.in_bulk(wanted)
    return [found[key] for key in wanted]


def _own(read: SeasonRead, collection: Collection) -> list[UUID]:
    """Those there, in the plan first."""
    planned = {key for pair in read.plan for key in (pair.sire, pair.dam)}
    keys = sorted((one.animal not in planned, one.animal) for one in read.season.animals)
    there = set(
        Animal.objects.filter(collection=collection, pk__in=[key for _, key in keys]).values_list(
            "pk", flat=True
        )
    )
    return [UUID(key) for _, key in keys if UUID(key) in there]


def _examiners(
    collection: Collection, animals: list[Animal], stake: AtStake, now: datetime
) -> Examiners:
    """The keeper and nobody in particular: who comes is not planned yet."""
    who = examiners_for(collection, animals, stake, now)
    return who.only({str(collection.keeper_id), *ANYBODY} & set(who.expected))
