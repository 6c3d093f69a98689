"""Two loci on one chromosome: gametes at a recombination fraction, and estimating it."""

from fractions import Fraction
from math import inf, log10, sqrt

from msgspec import Struct

Haplotype = tuple[str, str]
"""The alleles of two loci on one chromosome."""


class Recombination(Struct, frozen=True):
    """``r`` with its standard error; ``lod`` is the log10 of how much better it fits than
    free assortment."""

    r: float
    standard_error: float
    lod: float


def gametes(one: Haplotype, other: Haplotype, r: Fraction) -> dict[Haplotype, Fraction]:
    """Gametes of a parent with these two chromosomes: each as it is with (1 − r)/2, with
    the second allele exchanged with r/2. Raises ValueError for r outside [0, ½]."""
    if not 0 <= r <= Fraction(1, 2):
        raise ValueError(f"{r} is not a recombination fraction")
    found: dict[Haplotype, Fraction] = {}
    for mine, its in ((one, other), (other, one)):
        for haplotype, chance in ((mine, (1 - r) / 2), ((mine[0], its[1]), r / 2)):
            found[haplotype] = found.get(haplotype, Fraction(0)) + chance
    return found


def recombination(parental: int, recombinant: int) -> Recombination:
    """The fraction from a test cross, by counting. Raises ValueError without young."""
    n = parental + recombinant
    if n == 0:
        raise ValueError("nothing was counted")
    r = recombinant / n
    lod = n * log10(2) + _log10_power(r, recombinant) + _log10_power(1 - r, parental)
    return Recombination(r, sqrt(r * (1 - r) / n), lod)


def _log10_power(base: float, times: int) -> float:
    if times == 0:
        return 0.0
    return times * log10(base) if base > 0 else -inf
