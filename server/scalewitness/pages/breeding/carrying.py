"""What one animal carries, and the pedigree that it is worked out from."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.safestring import SafeString

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import title_of
from scalewitness.breeding.queries.brings import NEVER
from scalewitness.breeding.queries.carrying import CarriedAt, Stock, carried_by, stock_of
from scalewitness.breeding.queries.pedigrees import (
    PedigreeSeen,
    Relative,
    pedigree_for,
    with_identifiers,
)
from scalewitness.breeding.queries.proving import ProvedByYoung, proved_by_young
from scalewitness.breeding.queries.proving_words import have_proved
from scalewitness.breeding.queries.rests_on import rests_on, stated_in_words
from scalewitness.calls.queries.visibility import animal_open
from scalewitness.domain.genetics.carried import Bounded
from scalewitness.domain.genetics.trade_words import (
    chance_in_words,
    genotype_in_words,
    locus_in_words,
    shorthand,
)
from scalewitness.domain.genetics.traits import Genotype, Locus
from scalewitness.pages.breeding.ancestors import ancestors_of, drawn_with
from scalewitness.pages.parts.access import page, signed_in
from scalewitness.pages.plots.bars import Bar, bars
from scalewitness.pages.plots.pedigree import pedigree
from scalewitness.people.models import Keeper

LEAST_DRAWN: Final = 0.01
"""A chance of carrying anything that is drawn in a pedigree."""


@dataclass(frozen=True, slots=True)
class LocusShown:
    """``bars`` empty: nothing could be worked out, for the reason in ``at``; ``label``: the
    shorthand of the trade, where its parents are certain."""

    locus: Locus
    name: str
    bars: SafeString
    bounds: SafeString
    at: CarriedAt
    label: str
    rests_on: list[str]
    proof: list[str]


@signed_in
def show_carried(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    """For whoever sees it whole, from what they may see."""
    now = timezone.now()
    animal = animal_open(keeper.pk, animal_id, now)
    found = pedigree_for(keeper.pk, now, among=[animal.pk])
    stock, drawn = stock_of(found, animal.species), drawn_with(found, [animal.pk])
    at = carried_by(stock, animal.pk, beside=drawn)
    one, proved = found.relatives[animal.pk], list(proved_by_young(found, stock, animal.pk))
    with_identifiers(found, [each.mate for each in proved])
    context = {
        "animal": animal,
        "title": title_of(animal),
        "loci": [_shown(found, one, locus, at[locus.key], proved) for locus in stock.loci],
        "relatives": len(stock.pedigree) - 1,
        "free": free_words(one, animal, stock),
        "pedigree": pedigree(ancestors_of(found, animal.pk, lines_of(stock, at, drawn))),
        "numbers": numbers_of(stock.loci),
    }
    return page(request, "breeding/carries.html", context)


def _shown(
    found: PedigreeSeen,
    one: Relative,
    locus: Locus,
    at: CarriedAt,
    proved: Iterable[ProvedByYoung],
) -> LocusShown:
    chances = at.chances.get(one.id, {})
    certain = not (one.sires.doubts or one.dams.doubts or at.taken)
    name = locus_in_words(locus)
    return LocusShown(
        locus=locus,
        name=name,
        bars=bars(f"What it carries of {name}", _bars(locus, chances), "Genotype"),
        bounds=bars(f"Bounds: {name}", _bounds(locus, at.bounds), "Genotype"),
        at=at,
        label=shorthand(locus, chances) if certain else "",
        rests_on=rests_on(found, one, locus),
        proof=[have_proved(found, each) for each in proved if each.proving.locus is locus],
    )


def _bars(locus: Locus, chances: Mapping[Genotype, float]) -> list[Bar]:
    return [
        Bar(genotype_in_words(locus, genotype), chance, chance_in_words(chance))
        for genotype, chance in ranked(chances)
    ]


def _bounds(locus: Locus, bounds: Bounded | None) -> list[Bar]:
    found = sorted(bounds.high.items(), key=lambda each: -each[1]) if bounds else []
    return [
        Bar(
            genotype_in_words(locus, genotype),
            high,
            f"{chance_in_words(bounds.low[genotype])} to {chance_in_words(high)}",
        )
        for genotype, high in found
        if bounds
    ]


def ranked(chances: Mapping[Genotype, float]) -> list[tuple[Genotype, float]]:
    """Likeliest first, without those that are as good as impossible."""
    found = sorted(chances.items(), key=lambda each: -each[1])
    return [(genotype, chance) for genotype, chance in found if chance >= NEVER]


def lines_of(
    stock: Stock, at: Mapping[str, CarriedAt], animals: Iterable[UUID]
) -> dict[UUID, list[str]]:
    """Of each animal, the likeliest at every locus at which it may carry anything."""
    return {
        one: [
            line
            for locus in stock.loci
            if (line := _line(locus, at[locus.key].chances.get(one, {})))
        ]
        for one in animals
    }


def _line(locus: Locus, chances: Mapping[Genotype, float]) -> str:
    some = [(one, p) for one, p in ranked(chances) if set(one) != {locus.alleles[0]}]
    if not some or sum(p for _, p in some) < LEAST_DRAWN:
        return ""
    genotype, chance = some[0]
    return f"{genotype_in_words(locus, genotype)}: {chance_in_words(chance)}"


def free_words(one: Relative, animal: Animal, stock: Stock) -> list[str]:
    """What is stated of it and not computed: in its keeper's own words, or of a locus of which
    nobody knows how it is inherited."""
    computed = {locus.key for locus in stock.loci}
    stated = (each for each in one.stated if each.locus not in computed)
    return [
        *(f"{each}, as registered" for each in animal.traits),
        *(stated_in_words(animal.species, each) for each in stated),
    ]


def numbers_of(loci: Iterable[Locus]) -> list[tuple[str, str, str, str]]:
    """Every number of the loci: of which, what, its value, and status with source; those that are
    the same of several once."""
    found: dict[tuple[str, str, str], list[str]] = {}
    for locus in loci:
        for name, number in locus.numbers.items():
            about = ": ".join(
                part for part in (number.status, number.source or number.note) if part
            )
            key = name.replace("_", " "), f"{number.value:g}", about
            found.setdefault(key, []).append(locus_in_words(locus))
    return [(", ".join(names), *key) for key, names in found.items()]
