"""A locus: its alleles, which of them show, and what an animal looks like."""

from collections.abc import Mapping
from fractions import Fraction

from msgspec import Struct

Genotype = tuple[str, str]
"""Both alleles, the one higher in the order of dominance first."""


class Locus(Struct, frozen=True):
    """``alleles`` in order of dominance, the one that hides all others first; pairs in
    ``equal`` hide neither and show together."""

    alleles: tuple[str, ...]
    equal: frozenset[frozenset[str]] = frozenset()

    def genotype(self, one: str, other: str) -> Genotype:
        """Both alleles in order. Raises ValueError for one the locus does not have."""
        first, second = sorted((one, other), key=self.alleles.index)
        return first, second

    def phenotype(self, genotype: Genotype) -> tuple[str, ...]:
        """The alleles that show: one, or two that show together."""
        first, second = self.genotype(*genotype)
        both = frozenset((first, second))
        return (first, second) if both in self.equal else (first,)

    def phenotypes(self, chances: Mapping[Genotype, Fraction]) -> dict[tuple[str, ...], Fraction]:
        """What the young look like, from what they are."""
        found: dict[tuple[str, ...], Fraction] = {}
        for genotype, chance in chances.items():
            shown = self.phenotype(genotype)
            found[shown] = found.get(shown, Fraction(0)) + chance
        return found
