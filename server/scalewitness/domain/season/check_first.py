"""What to check first: what the season gains if a sex or a claim is looked at before pairing.

A check leads to one of several answers, and to the plan that is best after it. What it gains is
what these plans are expected to bring, less what the plan that is best without it does. The plans
looked at are the given one and its repair to each thing that may be so. No check gains less than
nothing, before its cost (Raiffa and Schlaifer 1961, Applied statistical decision theory).
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence

from msgspec import Struct

from scalewitness.domain.genetics.traits import Genotype
from scalewitness.domain.observations import Method
from scalewitness.domain.season.falls import SupposedSeason, of_claim, of_sex, planned_options
from scalewitness.domain.season.figures import season_number
from scalewitness.domain.season.options import Options
from scalewitness.domain.season.values import SeasonInput, SeasonPlan

MALE, FEMALE = ("male",), ("female",)
Belief = Mapping[Genotype, float]
"""The chances of what may be so; of a sex, of `MALE` and `FEMALE`."""


class CheckAnswer(Struct, frozen=True):
    """What a check may say, with the chance of it, and what is then believed."""

    chance: float
    belief: Belief


class PossibleCheck(Struct, frozen=True):
    """One check that can be made of an animal, of its sex or of what it carries at a ``locus``.
    ``examiner`` as whoever asks names them. ``times``: so often, each time by another, which
    ``minutes``, ``money`` (the keeper's) and ``burden`` (on the animal, as the share of a wrong
    decision it is worth) are for."""

    animal: str
    method: Method
    examiner: str
    answers: tuple[CheckAnswer, ...]
    locus: str | None = None
    times: int = 1
    minutes: float = 0.0
    money: float = 0.0
    burden: float = 0.0


class Rates(Struct, frozen=True):
    """What a young of weight 1, a minute, and an animal's whole burden are worth to the keeper, in
    their money."""

    young: float
    minute: float
    burden: float


class CheckWorth(Struct, frozen=True):
    """``gains`` in young of weight 1, at most ``certain``, which certainty would bring; ``net``: in
    money, less what the check costs in time, money and burden."""

    check: PossibleCheck
    gains: float
    certain: float
    net: float


def supposed_rates() -> Rates:
    """Until a keeper says what theirs are."""
    return Rates(*(season_number("rates", name) for name in ("young", "minute", "burden")))


def check_first(
    season: SeasonInput, plan: SeasonPlan, checks: Iterable[PossibleCheck], rates: Rates
) -> tuple[CheckWorth, ...]:
    """Each check at what it is worth, that of most net worth first."""
    options = planned_options(season, plan)
    known = tuple(sorted(pair for pair in plan if pair in options.at))
    of: defaultdict[tuple[str, str | None], list[PossibleCheck]] = defaultdict(list)
    for check in checks:
        of[check.animal, check.locus].append(check)
    found = [
        one
        for about in sorted(of, key=lambda about: (about[0], about[1] or ""))
        if about[0] in options.scenarios.animals
        for one in _weighed(options, known, about, of[about], rates)
    ]
    return tuple(sorted(found, key=_order))


def _order(one: CheckWorth) -> tuple[object, ...]:
    check = one.check
    return (
        -round(one.net, 9),
        check.minutes,
        check.animal,
        check.locus or "",
        check.method,
        check.examiner,
        check.times,
    )


def _weighed(
    options: Options,
    plan: SeasonPlan,
    about: tuple[str, str | None],
    checks: Sequence[PossibleCheck],
    rates: Rates,
) -> Iterator[CheckWorth]:
    things = sorted({thing for one in checks for answer in one.answers for thing in answer.belief})
    worlds = {thing: _world(options, plan, about, thing) for thing in things}
    plans = [plan, *(world.pairs for world in worlds.values())]
    values = {thing: [world.value(one) for one in plans] for thing, world in worlds.items()}
    for check in checks:
        whole = sum(one.chance for one in check.answers)
        answers = [(one.chance / whole, one.belief) for one in check.answers]
        now: defaultdict[Genotype, float] = defaultdict(float)
        for chance, belief in answers:
            for thing, p in belief.items():
                now[thing] += chance * p
        before = _best(values, now)
        after = sum(chance * _best(values, belief) for chance, belief in answers)
        gains = round(after - before, 9)
        certain = round(sum(p * max(values[thing]) for thing, p in now.items()) - before, 9)
        cost = check.money + rates.minute * check.minutes + rates.burden * check.burden
        yield CheckWorth(check, gains, certain, rates.young * gains - cost)


def _world(
    options: Options, plan: SeasonPlan, about: tuple[str, str | None], thing: Genotype
) -> SupposedSeason:
    animal, locus = about
    if locus is None:
        return of_sex(options, animal, plan, male=thing == MALE)
    return of_claim(options, animal, plan, locus, thing)


def _best(values: Mapping[Genotype, Sequence[float]], belief: Belief) -> float:
    """What the best of the plans is expected to bring."""
    expected = zip(
        *([p * value for value in values[thing]] for thing, p in belief.items()), strict=True
    )
    return max(map(sum, expected))
