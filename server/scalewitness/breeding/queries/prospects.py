"""What a pairing of two animals should bring, for one reader, planned or not."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final, Literal
from uuid import UUID

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import LastNoted, conditions_of
from scalewitness.breeding.queries.carrying import (
    ON_PAGE,
    Stock,
    as_stated,
    pedigrees_tried,
    stock_of,
)
from scalewitness.breeding.queries.notes import last_young
from scalewitness.breeding.queries.pairings import PairingSeen, pairings_seen
from scalewitness.breeding.queries.pedigrees import (
    PedigreeSeen,
    Relative,
    ancestry,
    pedigree_for,
)
from scalewitness.calls.queries.visibility import seen_animals
from scalewitness.domain.cautions import is_held_off
from scalewitness.domain.errors import NotFound
from scalewitness.domain.genetics.elimination import TooTangled
from scalewitness.domain.genetics.kinship import Kinship
from scalewitness.domain.genetics.passing import Contradiction
from scalewitness.domain.genetics.prospects import prospects
from scalewitness.domain.genetics.young import HarmExpected, Prospects, pair_chance
from scalewitness.domain.observations import Sex
from scalewitness.domain.season.before_pairing import (
    BeforePairing,
    PairingCaution,
    speaks_against,
)
from scalewitness.domain.season.crossing import BARRING
from scalewitness.domain.season.figures import season_number
from scalewitness.domain.season.reproduction import breeding_figures
from scalewitness.standings.queries.logged import label_of, latest_standings

MOST_ANCESTORS: Final = 300
"""Of two animals together (our judgement: a fraction of a second)."""
Why = Literal["too_tangled", "contradiction", "cross", "nothing_stated"]


@dataclass(frozen=True, slots=True)
class Mate:
    """One of the two, as what it is meant: ``plainly`` and ``strictly`` the chance that it is of
    that sex, by both readings of its standing; ``others``: what else is planned with it in the
    season, as far as the reader sees it."""

    animal: Animal
    sex: Sex
    plainly: float
    strictly: float
    label: str
    cautions: list[PairingCaution]
    others: list[PairingSeen]


@dataclass(frozen=True, slots=True)
class KinshipSeen:
    """``coefficient`` of the two, which is the inbreeding of their young; ``generations``: of so
    many alone, where there are too many ancestors, so that it is the least."""

    coefficient: float
    generations: int | None = None


@dataclass(frozen=True, slots=True)
class PairSeen:
    """``together``: the chance that they are a male and a female, whichever is which. ``brings``
    None: for the reason in ``why``; ``taken``: from how many relatives, where all of them were
    too tangled or too many. ``harmed``: what speaks against ever proposing it."""

    sire: Mate
    dam: Mate
    season: int
    together: float
    strictly: float
    kinship: KinshipSeen
    stock: Stock
    found: PedigreeSeen
    brings: Prospects | None
    taken: int | None
    why: Why | None
    harmed: list[HarmExpected]


def more_male_first(one: UUID, other: UUID) -> tuple[UUID, UUID]:
    """The two in the order of sire and dam that their standings make likelier."""
    found = latest_standings([one, other])
    male = {each: float(found[each].p_male) if each in found else 0.5 for each in (one, other)}
    return (one, other) if male[one] >= male[other] else (other, one)


def prospects_of(keeper: UUID, sire: UUID, dam: UUID, season: int, now: datetime) -> PairSeen:
    """Of two animals that the reader sees whole; ``season``: the year in which the young are to
    hatch or be born.

    Raises:
        NotFound: they do not see both, or it is one animal: all answered alike.
    """
    _check_both(keeper, sire, dam, now)
    found = pedigree_for(keeper, now, among=[sire, dam])
    planned = pairings_seen(keeper, now, among=[sire, dam])
    others = [one for one in planned if one.pairing.season == season and not _is(one, sire, dam)]
    states = conditions_of([sire, dam])
    his = _mate(found, sire, "male", states[sire], others, season, now.date())
    hers = _mate(found, dam, "female", states[dam], others, season, now.date())
    stock = stock_of(found, his.animal.species)
    brings, taken, why = _brings(stock, his.animal, hers.animal)
    return PairSeen(
        sire=his,
        dam=hers,
        season=season,
        together=pair_chance(his.plainly, 1 - hers.plainly),
        strictly=pair_chance(his.strictly, 1 - hers.strictly),
        kinship=_kinship(found, sire, dam),
        stock=stock,
        found=found,
        brings=brings,
        taken=taken,
        why=why,
        harmed=barring(brings),
    )


def kinship_of(keeper: UUID, one: UUID, other: UUID, now: datetime) -> KinshipSeen:
    """Of two animals that the reader sees whole. Raises NotFound as `prospects_of`."""
    _check_both(keeper, one, other, now)
    return _kinship(pedigree_for(keeper, now, among=[one, other]), one, other)


def _check_both(keeper: UUID, one: UUID, other: UUID, now: datetime) -> None:
    seen = seen_animals(keeper, {one, other}, now)
    if one == other or any(each not in seen or seen[each][1] != "all" for each in (one, other)):
        raise NotFound()


def _kinship(found: PedigreeSeen, one: UUID, other: UUID) -> KinshipSeen:
    """With the parents as they are stated; from the ancestors of the two alone, as nobody else
    bears on it, the nearest generations where there are very many."""
    generations, known, whole = 0, {one, other}, False
    while not whole:
        more = ancestry(found, one, generations + 1) | ancestry(found, other, generations + 1)
        if len(more) > MOST_ANCESTORS:
            break
        generations, known, whole = generations + 1, more, len(more) == len(known)
    coefficient = Kinship(as_stated(found, known)).of(str(one), str(other))
    return KinshipSeen(coefficient, None if whole else generations)


def _is(one: PairingSeen, sire: UUID, dam: UUID) -> bool:
    return {one.pairing.sire_id, one.pairing.dam_id} == {sire, dam}


def _mate(
    found: PedigreeSeen,
    animal: UUID,
    sex: Sex,
    state: LastNoted,
    planned: Iterable[PairingSeen],
    season: int,
    today: date,
) -> Mate:
    one = found.relatives[animal]
    assert one.animal is not None  # noqa: S101  it is seen whole
    male = [float(each) for each in _readings(one)]
    plainly, strictly = male if sex == "male" else [1 - each for each in male]
    known = BeforePairing(
        sex=sex,
        hatched=one.animal.hatched,
        grams=state.grams,
        weighed=state.weighed_at.date() if state.weighed_at else None,
        last_young=last_young(found, [animal]).get(animal),
        held_off=is_held_off(asked=one.animal.hold_off, health=state.health),
    )
    return Mate(
        animal=one.animal,
        sex=sex,
        plainly=plainly,
        strictly=strictly,
        label=label_of(one.standing),
        cautions=speaks_against(known, breeding_figures(one.animal.species), today, season),
        others=[each for each in planned if animal in (each.pairing.sire_id, each.pairing.dam_id)],
    )


def _readings(one: Relative) -> tuple[str, str]:
    if one.standing is None:
        return "0.5", "0.5"
    return one.standing.p_male, one.standing.p_male_pessimistic


def _brings(
    stock: Stock, sire: Animal, dam: Animal
) -> tuple[Prospects | None, int | None, Why | None]:
    """With how many relatives that is from, where all of them were too tangled."""
    if sire.species != dam.species:
        return None, None, "cross"
    if not stock.loci:
        return None, None, "nothing_stated"
    both = str(sire.pk), str(dam.pk)
    for near, whole in pedigrees_tried(stock, both):
        try:
            found = prospects(near, stock.loci, *both, ON_PAGE)
        except TooTangled:
            continue
        except Contradiction:
            return None, None, "contradiction"
        return found, None if whole else len(near), None
    return None, None, "too_tangled"


def barring(brings: Prospects | None) -> list[HarmExpected]:
    """Published lethal or neurological harm that bars a pairing from being proposed."""
    least = season_number("from", "harmed")
    found = brings.harm() if brings else []
    return [one for one in found if one.harm.kind in BARRING and one.chance >= least]
