"""What a trait that is inherited together with sex says of a hatchling's sex.

In the sex with two different sex chromosomes the trait travels with one of them and now
and then changes over, with the recombination fraction r. A sire (XY) that carries it beside
his Y gives it to sons with 1 − r and to daughters with r; beside his X, the other way
round. Which it is shows in his own parents. The published fraction is not at hand, so r is
an interval, and the answer a range.
"""

from collections.abc import Mapping
from fractions import Fraction
from functools import cache
from itertools import product
from types import MappingProxyType
from typing import Any, Literal

from msgspec import Struct

from scalewitness.domain.genetics import crosses, linkage
from scalewitness.domain.genetics.crosses import System
from scalewitness.domain.sexing.parameters import Status
from scalewitness.domain.sexing.tables import table
from scalewitness.domain.sexing.taxa import read_taxa

Copies = Literal[0, 1, 2]
Beside = Literal["X", "Y", "Z", "W"]
Shows = Literal["nothing", "one_copy", "two_copies", "some_copies"]

_TRAIT, _PLAIN = "T", "+"
_COPIES: Mapping[Shows, frozenset[int]] = MappingProxyType(
    {
        "nothing": frozenset({0}),
        "one_copy": frozenset({1}),
        "two_copies": frozenset({2}),
        "some_copies": frozenset({1, 2}),
    }
)


class ImpossibleYoung(ValueError):
    """These parents cannot have young that look like this."""


class LinkedTrait(Struct, frozen=True):
    """A trait, the species it is known in, the sex chromosomes it behaves as if it had,
    and the recombination fraction with its plausible ends."""

    key: str
    species: str
    system: System
    r: float
    low: float
    high: float
    status: Status
    source: str
    note: str


class Parents(Struct, frozen=True):
    """Copies of the trait in the sire and in the dam. ``beside`` names the sex chromosome
    that the single copy of the heterogametic parent lies beside; None when not known."""

    sire: Copies
    dam: Copies
    beside: Beside | None = None


class LinkedPrior(Struct, frozen=True):
    """The chance of male to start from, and its ends over the plausible fractions;
    ``cautions`` in words."""

    p_male: float
    low: float
    high: float
    cautions: tuple[str, ...]


def linked_traits() -> Mapping[str, LinkedTrait]:
    """Every known trait by its key."""
    return _traits()


def linked_prior(trait: LinkedTrait, parents: Parents, shows: Shows) -> LinkedPrior:
    """The prior for one young of these parents. Without a known linkage phase it is ½.
    Raises ImpossibleYoung, and ValueError for a phase of the other sex system."""
    at, low, high = (
        float(p_male(trait.system, parents, shows, Fraction(str(r))))
        for r in (trait.r, trait.low, trait.high)
    )
    low, high = sorted((low, high))
    silent = at == low == high == 0.5
    return LinkedPrior(at, low, high, tuple(_cautions(trait, parents, silent)))


def p_male(system: System, parents: Parents, shows: Shows, r: Fraction) -> Fraction:
    """The chance that a young that shows this is male, from 1:1 at conception. Raises as
    :func:`linked_prior`."""
    if parents.beside is not None and parents.beside not in system:
        raise ValueError(f"no {parents.beside} chromosome in a species with {system}")
    males, females = (_showing(system, parents, shows, sex, r) for sex in ("male", "female"))
    if males + females == 0:
        raise ImpossibleYoung(f"no young of such parents shows {shows}")
    return males / (males + females)


def _showing(system: System, parents: Parents, shows: Shows, sex: str, r: Fraction) -> Fraction:
    """The chance of young of that sex that look like this, of all young."""
    mixed, plain = (parents.sire, parents.dam) if system == "XY" else (parents.dam, parents.sire)
    own = (sex == "male") == (system == "XY")
    chromosome = system[1] if own else system[0]
    unions = product(
        _mixed_gametes(system, mixed, parents.beside, r).items(),
        crosses.gametes(_alleles(plain)).items(),
    )
    return sum(
        (
            p * q
            for ((beside, one), p), (other, q) in unions
            if beside == chromosome and (one, other).count(_TRAIT) in _COPIES[shows]
        ),
        Fraction(0),
    )


def _mixed_gametes(
    system: System, copies: Copies, beside: Beside | None, r: Fraction
) -> dict[linkage.Haplotype, Fraction]:
    """Gametes of the heterogametic parent: (sex chromosome, allele)."""
    if copies == 1 and beside is None:
        r, beside = Fraction(1, 2), _BESIDE[system[0]]  # either phase alike: no linkage seen
    one, other = _alleles(copies)
    if beside == system[1]:
        one, other = other, one
    return linkage.gametes((system[0], one), (system[1], other), r)


def _alleles(copies: Copies) -> tuple[str, str]:
    return (_TRAIT if copies > 0 else _PLAIN), (_TRAIT if copies > 1 else _PLAIN)


_BESIDE: Mapping[str, Beside] = MappingProxyType({"X": "X", "Y": "Y", "Z": "Z", "W": "W"})


def _cautions(trait: LinkedTrait, parents: Parents, silent: bool) -> list[str]:
    if silent:
        return [
            "From these parents the trait says nothing about sex: the parent with two kinds "
            "of sex chromosome has no copy, two, or one of unknown origin."
        ]
    return [
        _how_often(trait),
        "It rests on the parents being the parents, on their own parents being right, and on "
        "the young having been told apart correctly.",
        "It is only a starting point: such an animal still needs a check.",
    ]


def _how_often(trait: LinkedTrait) -> str:
    if trait.low == trait.high:
        return (
            f"The answer holds for a trait that changes over in {_hundred(trait.r)} in 100, as was "
            f"given, and for no other."
        )
    return (
        f"How often the trait changes over is not published where we could read it; keepers "
        f"speak of {_hundred(trait.low)} to {_hundred(trait.high)} in 100, and the answer is "
        f"given for that range."
    )


def _hundred(share: float) -> str:
    return f"{100 * share:g}"


@cache
def _traits() -> Mapping[str, LinkedTrait]:
    sheet = table("linkage.toml")
    return MappingProxyType({key: _trait(key, row) for key, row in sheet.items()})


def _trait(key: str, row: Mapping[str, Any]) -> LinkedTrait:
    fraction = row["recombination"]
    return LinkedTrait(
        key=key,
        species=row["species"],
        system=_system(row["species"], row["system_stated_in"]),
        r=float(fraction["value"]),
        low=float(fraction["low"]),
        high=float(fraction["high"]),
        status=fraction["status"],
        source=row["linkage_source"],
        note=fraction["note"],
    )


def _system(species: str, stated_in: str) -> System:
    system = read_taxa(table(stated_in, "taxa.toml"), stated_in)[species].sex_system
    if system == "unknown":
        raise ValueError(f"{stated_in} does not say which sex chromosomes {species} has")
    return system
