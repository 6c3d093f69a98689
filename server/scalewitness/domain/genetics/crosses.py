"""Crosses at one locus, on an ordinary chromosome or on a sex chromosome, and what young
tell of a parent that may be a carrier."""

from collections.abc import Iterable, Mapping
from fractions import Fraction
from itertools import product
from typing import Literal, TypeVar

from scalewitness.domain.genetics.loci import Genotype, Locus
from scalewitness.domain.observations import Sex

System = Literal["XY", "ZW"]
Pair = tuple[str, str]

T = TypeVar("T")
HALF = Fraction(1, 2)


def gametes(pair: tuple[T, T]) -> dict[T, Fraction]:
    """Each of a parent's two with chance one half; together where they are the same."""
    return _summed((one, HALF) for one in pair)


def united(sire: Mapping[T, Fraction], dam: Mapping[T, Fraction]) -> dict[tuple[T, T], Fraction]:
    """Every union of the parents' gametes, (from the sire, from the dam)."""
    return {(s, d): p * q for (s, p), (d, q) in product(sire.items(), dam.items())}


def cross(locus: Locus, sire: Pair, dam: Pair) -> dict[Genotype, Fraction]:
    """The young of a cross on an ordinary chromosome, by genotype."""
    unions = united(gametes(sire), gametes(dam))
    return _summed((locus.genotype(*union), chance) for union, chance in unions.items())


def sex_linked(
    locus: Locus, system: System, sire: Pair, dam: Pair
) -> dict[Sex, dict[tuple[str, str], Fraction]]:
    """The young of each sex for a locus on the X or the Z alone; chances within each sex.

    The heterogametic parent is given as (allele, "Y") or (allele, "W"), and so are the
    young of that sex. Raises ValueError where a parent does not fit the system.
    """
    small = system[1]
    one_copy: Sex = "male" if system == "XY" else "female"
    two, one = (dam, sire) if system == "XY" else (sire, dam)
    if one[1] != small or small in two or one[0] == small:
        raise ValueError(f"{sire} and {dam} are not a sire and dam of a species with {system}")
    with_two = ((locus.genotype(got, one[0]), chance) for got, chance in gametes(two).items())
    with_one = (((got, small), chance) for got, chance in gametes(two).items())
    other: Sex = "female" if system == "XY" else "male"
    return {other: _summed(with_two), one_copy: _summed(with_one)}


def carrier(prior: Fraction, if_carrier: Fraction, young: int) -> Fraction:
    """The chance that a parent carries what none of so many young showed.

    ``if_carrier`` is the chance of one young showing nothing if the parent carries it; a
    parent that does not carry it never has young that show it.
    """
    still = prior * if_carrier**young
    return still / (still + 1 - prior)


def _summed(chances: Iterable[tuple[T, Fraction]]) -> dict[T, Fraction]:
    found: dict[T, Fraction] = {}
    for key, chance in chances:
        found[key] = found.get(key, Fraction(0)) + chance
    return found
