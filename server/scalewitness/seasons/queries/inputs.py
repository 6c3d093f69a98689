"""All that a season is planned from, as far as one reader may see it."""

import json
from collections import defaultdict
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from hashlib import sha256
from itertools import combinations, permutations
from typing import Any, Final
from uuid import UUID

import msgspec
from msgspec.structs import replace

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.queries import conditions_of, lenders_of
from scalewitness.breeding.models import Pairing
from scalewitness.breeding.queries.carrying import Stock, as_stated, stock_of
from scalewitness.breeding.queries.notes import last_young
from scalewitness.breeding.queries.pairings import pairings_seen
from scalewitness.breeding.queries.pedigrees import PedigreeSeen, pedigree_for
from scalewitness.calls.queries.visibility import sights_of
from scalewitness.domain.genetics.carried import Bounded, Chances, carried
from scalewitness.domain.genetics.kinship import Kinship
from scalewitness.domain.genetics.passing import Contradiction
from scalewitness.domain.genetics.tables import PLAIN, Tables
from scalewitness.domain.genetics.traits import Genotype, Locus
from scalewitness.domain.genetics.young import pair_chance
from scalewitness.domain.season.availability import Breeder, availability
from scalewitness.domain.season.reproduction import clutch_sizes
from scalewitness.domain.season.stated import key_of, limits_of, wants_of
from scalewitness.domain.season.values import (
    Barred,
    BreedingAnimal,
    Chosen,
    SeasonInput,
    SeasonPlan,
)
from scalewitness.sales.queries import animals_on_sale, offered_to
from scalewitness.seasons.queries.seasons import SeasonSettings, settings_of
from scalewitness.standings.queries.logged import latest_standings

MALES, FEMALES = 15, 60
"""Of each at most that are weighed, unless more are planned (our judgement: a plan of so many takes
the worker five seconds, see ``deploy/bench/FIGURES.md``)."""
HARDLY: Final = 0.01
"""Animals that are a pair with less than this chance need no kinship (our judgement)."""
Carries = Mapping[str, Mapping[str, Mapping[Genotype, float]]]
"""By animal and locus."""


@dataclass(frozen=True, slots=True)
class SeasonRead:
    """``plan`` are the ``pairings`` of both animals that the reader sees; ``stocks``: the pedigrees
    of its species; ``basis``: whatever was read, by id; ``digest`` of all that the answer hangs
    on."""

    season: SeasonInput
    plan: SeasonPlan
    pairings: Mapping[Chosen, UUID]
    settings: SeasonSettings
    stocks: Mapping[str, Stock]
    basis: frozenset[UUID]
    digest: str


def season_read(
    collection: Collection,
    year: int,
    reader: UUID,
    now: datetime,
    tables: Tables[Any] = PLAIN,
) -> SeasonRead:
    """Of the animals of the collection, of others in its pairings of that year, and where its
    limits say so of those that the reader is offered; what they carry is worked out with these
    ``tables``."""
    settings = settings_of(collection.pk, year)
    pairings = planned_in(collection.pk, year, reader, now)
    mates = {one for pair in pairings for one in (pair.sire_id, pair.dam_id)}
    offered = offered_to(reader)
    wanted = mates | offered if "offered" in settings.limits.use else mates
    animals = _animals(collection, wanted, reader, now)
    found = pedigree_for(reader, now, among=[one.pk for one in animals])
    stocks = {one: stock_of(found, one) for one in sorted({one.species for one in animals})}
    carries, loci = _carried(stocks, animals, tables)
    chosen = {_chosen(one): one.pk for one in pairings}
    plan = tuple(sorted(chosen))
    planned = {one for pair in plan for one in (pair.sire, pair.dam)}
    breeding = weighed(tuple(_breeding(found, animals, carries, offered, year, now)), planned)
    others = {str(one.pk) for one in animals if one.collection_id != collection.pk}
    season = SeasonInput(
        animals=breeding,
        kinship=_kinship(found, breeding),
        wants=wants_of(settings.wants),
        limits=limits_of(settings.limits),
        loci=loci,
        fixed=tuple(one for one in plan if chosen[one] in settings.kept),
        barred=tuple(
            Barred(sire, dam, "Neither of them is in this collection.")
            for sire, dam in permutations(sorted(others & {one.animal for one in breeding}), 2)
        ),
    )
    homes = {one.animal.collection_id for one in found.relatives.values() if one.animal}
    basis = frozenset({collection.pk, *found.relatives, *mates, *homes, *chosen.values()})
    digest = _digest(season, plan, settings)
    return SeasonRead(season, plan, chosen, settings, stocks, basis, digest)


def weighed(
    animals: Sequence[BreedingAnimal], planned: Container[str]
) -> tuple[BreedingAnimal, ...]:
    """Those that are planned, and of the others so many of each sex as can be weighed in a minute:
    first whatever is ready to breed, then whose sex is surest."""
    found = [one for one in animals if one.animal in planned]
    for most, male in ((MALES, True), (FEMALES, False)):
        alike = [one for one in animals if (one.p_male >= 0.5) == male]
        others = sorted(
            (one for one in alike if one.animal not in planned),
            key=lambda one: (one.availability != "ready", -abs(one.p_male - 0.5), one.animal),
        )
        room = most - sum(one.animal in planned for one in alike)
        found += others[: max(room, 0)]
    return tuple(sorted(found, key=lambda one: one.animal))


def planned_in(collection: UUID, year: int, reader: UUID, now: datetime) -> list[Pairing]:
    """Pairings of that year with an animal of the collection, where the reader sees both."""
    return [
        one.pairing
        for one in pairings_seen(reader, now)
        if one.pairing.season == year
        and one.sire is not None
        and one.dam is not None
        and collection in {one.sire.collection_id, one.dam.collection_id}
    ]


def _chosen(pairing: Pairing) -> Chosen:
    return Chosen(str(pairing.sire_id), str(pairing.dam_id))


def _animals(
    collection: Collection, others: Iterable[UUID], reader: UUID, now: datetime
) -> list[Animal]:
    """Those there, and of the others, that the reader sees whole."""
    own = Animal.objects.filter(collection=collection, ended="").values_list("pk", flat=True)
    wanted = {*own, *others}
    sights = sights_of(reader, wanted, now)
    whole = [one for one in wanted if sights.get(one) == "all"]
    return list(Animal.objects.filter(pk__in=whole, ended="").order_by("pk"))


def _carried(
    stocks: Mapping[str, Stock], animals: Sequence[Animal], tables: Tables[Any]
) -> tuple[Carries, tuple[Locus, ...]]:
    """Of loci that can be computed. Nothing of one at which what is stated cannot all be so, or of
    an animal whose relatives are too tangled for more than bounds."""
    carries: defaultdict[str, dict[str, Mapping[Genotype, float]]] = defaultdict(dict)
    loci: list[Locus] = []
    for species, stock in stocks.items():
        own = [str(one.pk) for one in animals if one.species == species]
        for locus in stock.loci:
            named = _among_species(locus, species)
            loci.append(named)
            for animal, chances in _chances(stock, locus, own, tables).items():
                if not isinstance(chances, Bounded):
                    carries[animal][named.key] = chances
    return carries, tuple(loci)


def _chances(
    stock: Stock, locus: Locus, animals: Sequence[str], tables: Tables[Any]
) -> Mapping[str, Chances]:
    try:
        return carried(stock.pedigree, locus, tables, animals)
    except Contradiction:
        return {}


def _among_species(locus: Locus, species: str) -> Locus:
    """By a key of its own among the loci of all species."""
    beside = locus.neighbour
    if beside is not None:
        beside = replace(beside, key=key_of(species, beside.key))
    return replace(locus, key=key_of(species, locus.key), neighbour=beside)


def _kinship(
    found: PedigreeSeen, animals: Sequence[BreedingAnimal]
) -> dict[tuple[str, str], float]:
    """Of animals of one species that may be a pair, with the parents as they are stated; 0 is left
    out."""
    kinship = Kinship(as_stated(found, found.relatives.keys()))
    pairs = (
        (one.animal, other.animal)
        for one, other in combinations(sorted(animals, key=lambda one: one.animal), 2)
        if one.species == other.species and pair_chance(one.p_male, other.p_male) >= HARDLY
    )
    return {pair: value for pair in pairs if (value := kinship.of(*pair)) > 0}


def _breeding(
    found: PedigreeSeen,
    animals: Sequence[Animal],
    carries: Carries,
    offered: Container[UUID],
    year: int,
    now: datetime,
) -> Iterable[BreedingAnimal]:
    ids = [one.pk for one in animals]
    standings, noted = latest_standings(ids), conditions_of(ids)
    on_sale, lent, last = animals_on_sale(ids), lenders_of(ids), last_young(found, ids)
    for one in animals:
        standing = standings.get(one.pk)
        male = float(standing.p_male) if standing else 0.5
        breeder = Breeder(
            species=one.species,
            male=male,
            hatched=one.hatched,
            grams=_grams(noted[one.pk].grams),
            last_young=last.get(one.pk),
            on_sale=one.pk in on_sale,
            on_loan=one.pk in lent,
            held_off=one.hold_off,
            offered=one.pk in offered,
        )
        yield BreedingAnimal(
            animal=str(one.pk),
            species=one.species,
            p_male=male,
            p_male_strict=float(standing.p_male_pessimistic) if standing else 0.5,
            young=clutch_sizes(one.species),
            carries=carries.get(str(one.pk), {}),
            availability=availability(breeder, now.date(), year),
        )


def _grams(noted: Decimal | None) -> float | None:
    return None if noted is None else float(noted)


def _digest(season: SeasonInput, plan: SeasonPlan, settings: SeasonSettings) -> str:
    """The same whenever the answer would be."""
    animals = [
        [
            one.animal,
            one.species,
            round(one.p_male, 6),
            round(one.p_male_strict, 6),
            one.availability,
            sorted(
                (key, "/".join(genotype), round(p, 6))
                for key, chances in one.carries.items()
                for genotype, p in chances.items()
            ),
        ]
        for one in season.animals
    ]
    kinship = sorted((*pair, round(value, 6)) for pair, value in season.kinship.items())
    stated = [msgspec.to_builtins(settings.wants), msgspec.to_builtins(settings.limits)]
    plans = [[[one.sire, one.dam] for one in pairs] for pairs in (plan, season.fixed)]
    barred = [[one.sire, one.dam] for one in season.barred]
    everything = [stated, animals, kinship, plans, barred]
    return sha256(json.dumps(everything).encode()).hexdigest()
