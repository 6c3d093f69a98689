"""Why a pairing is not proposed. By hand everything can be planned; the reason stands there."""

from collections import Counter
from collections.abc import Iterable
from typing import Literal

from msgspec import Struct

from scalewitness.domain.genetics.young import pair_chance
from scalewitness.domain.season.figures import season_number
from scalewitness.domain.season.scenarios import Scenarios
from scalewitness.domain.season.values import Chosen, SeasonInput

Why = Literal[
    "same_animal",
    "other_species",
    "not_available",
    "kin",
    "harmed_young",
    "same_sex",
    "barred",
]

NEVER = frozenset({"ended"})


class PairingObjection(Struct, frozen=True):
    """``of``: the animal that is not available, or what bars the pairing, in words that came with
    it; ``chance``: of a harmed young, of being no pair, or how close kin the two are."""

    why: Why
    of: str = ""
    chance: float | None = None


def kinship_of(season: SeasonInput, one: str, other: str) -> float:
    """0 where none is given."""
    return season.kinship.get((min(one, other), max(one, other)), 0.0)


def objections(scenarios: Scenarios, pair: Chosen) -> tuple[PairingObjection, ...]:
    """None: it may be proposed. Of an animal that is no longer among those of the season nothing
    but that is said."""
    gone = [key for key in (pair.sire, pair.dam) if key not in scenarios.animals]
    if gone:
        return tuple(PairingObjection("not_available", key) for key in gone)
    return (
        *_of_animals(scenarios, pair),
        *_of_kinship(scenarios.season, pair),
        *_of_sexes(scenarios, pair),
        *_of_young(scenarios, pair),
        *(
            PairingObjection("barred", one.why)
            for one in scenarios.season.barred
            if (one.sire, one.dam) == (pair.sire, pair.dam)
        ),
    )


def chance_of_pair(scenarios: Scenarios, pair: Chosen, *, strict: bool = False) -> float:
    """That the two are a male and a female, whichever is which."""
    both = scenarios.animals[pair.sire], scenarios.animals[pair.dam]
    return pair_chance(*(one.p_male_strict if strict else one.p_male for one in both))


def _of_animals(scenarios: Scenarios, pair: Chosen) -> Iterable[PairingObjection]:
    if pair.sire == pair.dam:
        yield PairingObjection("same_animal", pair.sire)
    sire, dam = scenarios.animals[pair.sire], scenarios.animals[pair.dam]
    if sire.species != dam.species:
        yield PairingObjection("other_species")
    usable = {"ready", *scenarios.season.limits.use} - NEVER
    for one in (sire, dam):
        if one.availability not in usable:
            yield PairingObjection("not_available", one.animal)


def _of_kinship(season: SeasonInput, pair: Chosen) -> Iterable[PairingObjection]:
    found, most = kinship_of(season, pair.sire, pair.dam), season.limits.kinship
    if most is not None and found > most:
        yield PairingObjection("kin", chance=found)


def _of_sexes(scenarios: Scenarios, pair: Chosen) -> Iterable[PairingObjection]:
    chance = chance_of_pair(scenarios, pair)
    if chance < season_number("from", "a_pair"):
        yield PairingObjection("same_sex", chance=1 - chance)


def _of_young(scenarios: Scenarios, pair: Chosen) -> Iterable[PairingObjection]:
    chance = chance_harmed(scenarios, pair)
    if chance >= season_number("from", "harmed"):
        yield PairingObjection("harmed_young", chance=chance)


def chance_harmed(scenarios: Scenarios, pair: Chosen) -> float:
    """That a young of theirs, were they a pair, has a published harm that bars the pairing."""
    keys = scenarios.crossing.barring()
    if not keys:
        return 0.0
    (his, his_which), (hers, her_which) = (
        scenarios.carried(animal, keys) for animal in (pair.sire, pair.dam)
    )
    met = Counter(zip(his_which, her_which, strict=True))
    harmed = scenarios.crossing.harmed
    return sum(n * harmed(his[a], hers[b]) for (a, b), n in met.items()) / scenarios.count
