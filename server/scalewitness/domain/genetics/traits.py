"""The inherited traits of a species: loci, their alleles, and what a genotype shows.

Read from ``data/traits.toml``. A locus of unknown inheritance is listed and never computed.
"""

from collections.abc import Iterable, Mapping
from functools import cache
from itertools import combinations_with_replacement
from math import prod
from types import MappingProxyType
from typing import Any, Final, Literal

from msgspec import Struct

from scalewitness.domain.data_files import data_file
from scalewitness.domain.genetics.crosses import System
from scalewitness.domain.sexing.parameters import Parameter, Status
from scalewitness.domain.sexing.taxa import UnknownSpecies, taxon

Inheritance = Literal[
    "recessive", "dominant", "incompletely dominant", "allelic series", "polygenic", "unknown"
]
HarmKind = Literal["lethal", "neurological", "bodily"]
Genotype = tuple[str, ...]
"""Alleles in the order of their locus; one alone in a sex that has one such chromosome."""

WILD: Final = "wild"
"""The key of the wild-type allele, and of the look without the trait."""


class UnknownLocus(LookupError):
    """The sheet has no such locus of that species."""


class Appearance(Struct, frozen=True):
    """What animals of these genotypes look like, in words."""

    key: str
    words: str
    genotypes: frozenset[Genotype]


class Harm(Struct, frozen=True):
    """What is known to befall animals of these genotypes. Lethal: they do not live."""

    genotypes: frozenset[Genotype]
    kind: HarmKind
    caution: str
    status: Status
    source: str = ""


class SexLinkage(Struct, frozen=True):
    """How often the locus parts from what makes the sex: the recombination fraction in the sex
    with two kinds of sex chromosome, and its plausible ends."""

    r: float
    low: float
    high: float
    status: Status
    source: str = ""
    note: str = ""


class Neighbour(Struct, frozen=True):
    """Another locus on the same chromosome, at recombination fraction ``r`` in [0, ½]."""

    key: str
    r: float
    status: Status
    source: str = ""


class Locus(Struct, frozen=True, eq=False):
    """One locus. ``alleles`` are keys, the wild type first. ``system`` is None on an ordinary
    chromosome. With ``sex_linkage`` both sex chromosomes carry it; without, and with a system,
    only the X or the Z does. ``numbers``: frequency, penetrance, seen_right, overlooked, confused,
    claim_right, dna_right and dna_missed, each a share in [0, 1] with its status."""

    key: str
    species: str
    name: str
    alleles: tuple[str, ...]
    inheritance: Inheritance
    status: Status
    source: str = ""
    note: str = ""
    gene: str = ""
    system: System | None = None
    sex_linkage: SexLinkage | None = None
    neighbour: Neighbour | None = None
    looks: tuple[Appearance, ...] = ()
    harm: tuple[Harm, ...] = ()
    numbers: Mapping[str, Parameter] = MappingProxyType({})

    @property
    def computed(self) -> bool:
        """Whether anything is computed of it."""
        return self.inheritance not in ("polygenic", "unknown")

    @property
    def genotypes(self) -> tuple[Genotype, ...]:
        """All of them, sex taken together; single alleles last where a sex has only one."""
        pairs: tuple[Genotype, ...] = tuple(combinations_with_replacement(self.alleles, 2))
        return pairs + (tuple((a,) for a in self.alleles) if self.hemizygous else ())

    @property
    def hemizygous(self) -> bool:
        """Whether one sex has only one of it."""
        return self.system is not None and self.sex_linkage is None

    def genotype(self, *alleles: str) -> Genotype:
        """These alleles in order. Raises ValueError for one the locus does not have."""
        return tuple(sorted(alleles, key=self.alleles.index))

    def look(self, genotype: Genotype) -> Appearance:
        """What it shows. Raises KeyError for a genotype the locus does not have."""
        for one in self.looks:
            if genotype in one.genotypes:
                return one
        raise KeyError(genotype)

    def shown_as(self, key: str) -> Appearance:
        """The look of that key. Raises KeyError."""
        return {one.key: one for one in self.looks}[key]

    def lethal(self, genotype: Genotype) -> bool:
        """Whether young of the genotype are counted as lost."""
        return any(one.kind == "lethal" and genotype in one.genotypes for one in self.harm)

    def number(self, name: str) -> float:
        """A share of ``numbers``. Raises KeyError."""
        return self.numbers[name].value

    def frequency(self, allele: str) -> float:
        """The allele's share in animals of unknown origin; all of them sum to 1."""
        each = self.number("frequency")
        return each if allele != self.alleles[0] else 1 - each * (len(self.alleles) - 1)

    def prior(self, genotype: Genotype) -> float:
        """The genotype's chance in an animal of unknown origin and sex, had it been born alive
        or not. Those of the locus sum to 1."""
        p = prod(map(self.frequency, genotype)) * len(set(genotype))
        return p / 2 if self.hemizygous else p


def loci_of(species: str) -> tuple[Locus, ...]:
    """What is known of a species, as the sheet has it; nothing for one it does not name."""
    return _sheet().get(species, ())


def locus(species: str, key: str) -> Locus:
    """One of them. Raises UnknownLocus."""
    for one in loci_of(species):
        if one.key == key:
            return one
    raise UnknownLocus(f"{species} has no locus {key} in the sheet")


def in_words(genotype: Genotype) -> str:
    """A genotype as the sheet writes it: ``wild/albino``."""
    return "/".join(genotype)


def read_locus(row: Mapping[str, Any], numbers: Mapping[str, Any]) -> Locus:
    """One entry of the sheet. Raises KeyError and ValueError for one that is not whole."""
    about = {name: row[name] for name in ("key", "species", "name", "inheritance", "status")}
    texts = {name: row.get(name, "") for name in ("source", "note", "gene")}
    alleles = (WILD, *row["alleles"])
    linkage = row.get("sex_linkage")
    return Locus(
        **about,
        **texts,
        alleles=alleles,
        system=_system(row["species"]) if linkage or row.get("on_sex_chromosome") else None,
        sex_linkage=_sex_linkage(linkage) if linkage else None,
        neighbour=_neighbour(row.get("neighbour")),
        looks=_looks(row, alleles),
        harm=tuple(_harm(one, alleles) for one in row.get("harm", ())),
        numbers=_numbers({**numbers, **row.get("numbers", {})}),
    )


@cache
def _sheet() -> Mapping[str, tuple[Locus, ...]]:
    sheet = data_file("genetics", "traits.toml")
    found: dict[str, tuple[Locus, ...]] = {}
    for row in sheet["locus"]:
        one = read_locus(row, sheet["numbers"])
        found[one.species] = (*found.get(one.species, ()), one)
    return MappingProxyType(found)


def _system(species: str) -> System:
    system = taxon(species).sex_system
    if system == "unknown":
        raise UnknownSpecies(f"the sheet does not say which sex chromosomes {species} has")
    return system


def _sex_linkage(row: Mapping[str, Any]) -> SexLinkage:
    return SexLinkage(
        r=row["value"],
        low=row["low"],
        high=row["high"],
        status=row["status"],
        source=row.get("source", ""),
        note=row.get("note", ""),
    )


def _neighbour(row: Mapping[str, Any] | None) -> Neighbour | None:
    if row is None:
        return None
    return Neighbour(row["key"], row["value"], row["status"], row.get("source", ""))


def _numbers(rows: Mapping[str, Any]) -> Mapping[str, Parameter]:
    return MappingProxyType(
        {
            name: Parameter(
                name,
                float(row["value"]),
                row["status"],
                row.get("source", ""),
                row.get("note", ""),
                "traits",
            )
            for name, row in rows.items()
        }
    )


def _harm(row: Mapping[str, Any], alleles: tuple[str, ...]) -> Harm:
    return Harm(
        frozenset(_read(text, alleles) for text in row["genotypes"]),
        row["kind"],
        row["caution"],
        row["status"],
        row["source"],
    )


def _looks(row: Mapping[str, Any], alleles: tuple[str, ...]) -> tuple[Appearance, ...]:
    """The looks of a locus, the plain one first. One copy alone shows as two do."""
    pairs: list[Genotype] = list(combinations_with_replacement(alleles, 2))
    given = [(one["key"], one["words"], one["genotypes"]) for one in row.get("looks", ())]
    shown = [
        (key, words, {_read(text, alleles) for text in genotypes})
        for key, words, genotypes in given or _usual(row["inheritance"], alleles[1:])
    ]
    plain = set(pairs).difference(*(genotypes for _, _, genotypes in shown))
    return tuple(
        Appearance(key, words, frozenset(_and_alone(genotypes)))
        for key, words, genotypes in [(WILD, "wild type", plain), *shown]
    )


def _and_alone(genotypes: Iterable[Genotype]) -> Iterable[Genotype]:
    for one in genotypes:
        yield one
        if len(set(one)) == 1:
            yield one[:1]


def _usual(inheritance: str, mutants: Iterable[str]) -> Iterable[tuple[str, str, list[str]]]:
    for allele in mutants:
        words, two, one = allele.replace("_", " "), f"{allele}/{allele}", f"{WILD}/{allele}"
        if inheritance == "recessive":
            yield allele, words, [two]
        elif inheritance == "dominant":
            yield allele, words, [one, two]
        elif inheritance == "incompletely dominant":
            yield allele, words, [one]
            yield f"{allele}_two", f"{words}, two copies", [two]
        else:
            raise ValueError(f"the looks of {allele} must be said")


def _read(text: str, alleles: tuple[str, ...]) -> Genotype:
    return tuple(sorted(text.split("/"), key=alleles.index))
