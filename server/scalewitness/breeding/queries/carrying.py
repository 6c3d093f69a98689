"""What animals carry, from the pedigree that one reader may see."""

from collections.abc import Collection, Container, Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final
from uuid import UUID

from msgspec.structs import replace

from scalewitness.breeding.queries.pedigrees import PedigreeSeen, Relative
from scalewitness.domain.genetics.carried import Bounded, carried
from scalewitness.domain.genetics.evidence import evidence
from scalewitness.domain.genetics.passing import Contradiction
from scalewitness.domain.genetics.pedigree import (
    Likelihoods,
    Member,
    Parthenogenesis,
    Pedigree,
    candidates,
)
from scalewitness.domain.genetics.tables import Plain
from scalewitness.domain.genetics.traits import Genotype, Locus, loci_of


@dataclass(frozen=True, slots=True)
class Stock:
    """The animals of one species in a pedigree, as genetics takes them, and the loci at which
    something is stated of any of them and can be computed."""

    pedigree: Pedigree
    loci: tuple[Locus, ...]


def stock_of(found: PedigreeSeen, species: str) -> Stock:
    """A parent of another species is an unknown animal."""
    own = {one.id: one for one in found.relatives.values() if _is_of(one, species)}
    named = {statement.locus for one in own.values() for statement in one.stated}
    loci = tuple(one for one in loci_of(species) if one.computed and one.key in named)
    litters = _litters(own.values())
    spoken = _spoken_of(own)
    members = (
        Member(
            id=str(one.id),
            male=one.male,
            sires=_among(one.sires.of, own),
            dams=_among(one.dams.of, own),
            parthenogenesis=Parthenogenesis(one.alone) if one.alone else None,
            evidence=_evidence(one, loci, spoken),
            litter=litters.get(one.id),
        )
        for one in own.values()
    )
    return Stock(Pedigree(members), loci)


def as_stated(found: PedigreeSeen, among: Collection[UUID]) -> Pedigree:
    """Of those ``among`` the relatives, each with the parents that it is stated to have among
    them."""

    def parents(one: UUID | None) -> dict[str | None, float]:
        return {str(one): 1.0} if one in among else {}

    known = (found.relatives[one] for one in among)
    return Pedigree(
        Member(str(one.id), sires=parents(one.sire), dams=parents(one.dam)) for one in known
    )


class PageTables(Plain):
    """Tables for a page that somebody waits for."""

    most_entries = 150_000  # about a third of a second (our judgement)


ON_PAGE: Final = PageTables()
NEAREST: Final = (240, 120, 60, 30, 15)
"""How many of the nearest relatives are tried, where all of them are too tangled."""
MOST_WHOLE: Final = 800
"""With more relatives a page does not try all of them (our judgement: half a second a locus)."""


@dataclass(frozen=True, slots=True)
class CarriedAt:
    """At one locus, by animal. ``taken``: from how many relatives, where all were too tangled or
    too many; ``bounds``: of the animal asked for, whatever the others carry, but for too many.
    ``contradicts``: what is stated cannot all be so, and nothing is worked out."""

    chances: Mapping[UUID, Mapping[Genotype, float]]
    taken: int | None = None
    bounds: Bounded | None = None
    contradicts: bool = False


def pedigrees_tried(stock: Stock, animals: Collection[str]) -> Iterator[tuple[Pedigree, bool]]:
    """The whole pedigree, and ever fewer of the relatives nearest to these animals, until it is not
    too tangled; and whether it is the whole."""
    if len(stock.pedigree) <= MOST_WHOLE:
        yield stock.pedigree, True
    for most in NEAREST:
        yield nearest(stock.pedigree, animals, most), False


def carried_by(stock: Stock, animal: UUID, beside: Collection[UUID]) -> Mapping[str, CarriedAt]:
    """By locus, of the animal and of others ``beside`` it."""
    return {locus.key: _carried_at(stock, locus, animal, beside) for locus in stock.loci}


def _carried_at(stock: Stock, locus: Locus, animal: UUID, beside: Collection[UUID]) -> CarriedAt:
    bounds = None
    for near, whole in pedigrees_tried(stock, [str(animal)]):
        try:
            found = carried(near, locus, ON_PAGE, [str(animal)])[str(animal)]
            if not isinstance(found, Bounded):
                own = {one for one in (animal, *beside) if str(one) in near}
                return CarriedAt(_exact(near, locus, own), None if whole else len(near), bounds)
        except Contradiction:
            return CarriedAt({}, contradicts=True)
        bounds = found if whole else bounds
    return CarriedAt({}, bounds=bounds)


def _exact(
    pedigree: Pedigree, locus: Locus, of: Collection[UUID]
) -> dict[UUID, Mapping[Genotype, float]]:
    found = carried(pedigree, locus, ON_PAGE, [str(one) for one in of])
    return {UUID(one): at for one, at in found.items() if not isinstance(at, Bounded)}


def nearest(pedigree: Pedigree, animals: Collection[str], most: int) -> Pedigree:
    """Of these and the relatives nearest to them, in steps from parent to young; a parent farther
    away is an unknown animal."""
    beside: dict[str, list[str]] = {}
    for one in pedigree:
        for parent in candidates(one):
            beside.setdefault(one.id, []).append(parent)
            beside.setdefault(parent, []).append(one.id)
    reached = list(dict.fromkeys(animals))
    kept = set(reached)
    for key in reached:  # grows meanwhile
        new = [one for one in beside.get(key, ()) if one not in kept][: max(most - len(kept), 0)]
        kept.update(new)
        reached += new
    return Pedigree(_without_far(one, kept) for one in pedigree if one.id in kept)


def _without_far(one: Member, kept: Container[object]) -> Member:
    """Its litter's others may be far away, and then not all have the same parents left."""
    near = all(key in kept for key in candidates(one))
    if near:
        return one
    sires, dams = ({key: p for key, p in of.items() if key in kept} for of in (one.sires, one.dams))
    return replace(one, sires=sires, dams=dams, litter=None)


def _is_of(one: Relative, species: str) -> bool:
    return one.animal is None or one.animal.species == species


def _spoken_of(own: Mapping[UUID, Relative]) -> set[tuple[UUID, str, str]]:
    """Animals of whose parents, or young, something is stated at a locus."""
    found: set[tuple[UUID, str, str]] = set()
    for one in own.values():
        for locus in {each.locus for each in one.stated if each.locus}:
            found |= {(parent, "young", locus) for parent in (one.sire, one.dam) if parent}
        for parent in (one.sire, one.dam):
            if parent and parent in own:
                found |= {(one.id, "parents", each.locus or "") for each in own[parent].stated}
    return found


def _evidence(
    one: Relative, loci: Collection[Locus], spoken: Collection[tuple[UUID, str, str]]
) -> dict[str, Likelihoods]:
    """What is only concluded from parents or young counts where nothing is stated of those
    themselves: else it would count twice."""
    found: dict[str, Likelihoods] = {}
    for locus in loci:
        found |= evidence(
            one.stated,
            [locus],
            has_parents=(one.id, "parents", locus.key) in spoken,
            has_young=(one.id, "young", locus.key) in spoken,
        )
    return found


def _among(parents: Mapping[Hashable, float], ids: Container[object]) -> dict[str | None, float]:
    return {str(one): chance for one, chance in parents.items() if one in ids}


def _litters(relatives: Iterable[Relative]) -> dict[UUID, str]:
    """Young of one clutch, who share whoever their parents are. Where two males were with the dam,
    each may be of another: they are then taken one by one."""
    found: dict[tuple[object, ...], list[UUID]] = {}
    for one in relatives:
        hatched = one.animal.hatched if one.animal else None
        if one.dam and hatched and "second_male" not in one.sires.doubts:
            may_be = (frozenset(of.of.items()) for of in (one.sires, one.dams))
            found.setdefault((one.dam, hatched, one.alone, *may_be), []).append(one.id)
    clutches = (clutch for clutch in found.values() if len(clutch) > 1)
    return {one: str(clutch[0]) for clutch in clutches for one in clutch}
