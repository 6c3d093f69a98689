"""How closely two animals are related, and how inbred their young would be.

Kinship is the chance that an allele drawn from each is a copy of one in a common ancestor, at a
locus of an ordinary chromosome (Wright 1922; Malécot 1948). An animal's inbreeding is the kinship
of its parents. Unknown animals are taken as unrelated to all others and not inbred, so both are
the least that is known.
"""

from scalewitness.domain.genetics.conception import Option
from scalewitness.domain.genetics.networks import resolved, ways_of
from scalewitness.domain.genetics.pedigree import Pedigree, candidates

Pair = tuple[str, str]
"""Two animals, the older in the order of the pedigree first, or one twice."""
Sum = tuple[float, list[tuple[float, Pair]]]
"""A number, and weighted kinships to add to it."""


class Kinship:
    """Of a pedigree's animals; each pair is worked out once. Uncertain parents weigh with their
    chances."""

    def __init__(self, pedigree: Pedigree) -> None:
        self._pedigree = resolved(pedigree)
        self._age = {one.id: n for n, one in enumerate(self._pedigree)}
        self._known: dict[tuple[str, str], float] = {}

    def of(self, one: str, other: str) -> float:
        """Kinship of two animals, or of one with itself: in [0, 1]. It is the inbreeding that their
        young would have. Raises KeyError."""
        asked = self._pair(one, other)
        waiting = [asked]
        while waiting:
            pair = waiting[-1]
            number, parts = self._sum(pair)
            missing = [part for _, part in parts if part not in self._known]
            if missing:
                waiting += missing
            else:
                self._known[pair] = number + sum(p * self._known[part] for p, part in parts)
                waiting.pop()
        return self._known[asked]

    def _pair(self, one: str, other: str) -> Pair:
        return (one, other) if self._age[one] <= self._age[other] else (other, one)

    def _sum(self, pair: Pair) -> Sum:
        older, younger = pair
        young = self._pedigree[younger]
        names = candidates(young)
        of_one_litter = young.litter is not None and self._pedigree[older].litter == young.litter
        found: Sum = (0.5 if older == younger else 0.0, [])
        for way in ways_of(young):
            parents = [names[slot] for slot in (*way.sire, way.dam) if slot is not None]
            if older == younger:
                number, parts = self._inbred(way, parents)
                share = way.chance / 2
            elif of_one_litter:
                share, number = way.chance, 0.0
                ways = len(way.sire) + 1
                parts = [(1 / ways**2, self._pair(a, b)) for a in parents for b in parents]
            else:
                share, number = way.chance, 0.0
                parts = [(1 / (len(way.sire) + 1), self._pair(older, one)) for one in parents]
            found = (
                found[0] + share * number,
                [*found[1], *((share * p, part) for p, part in parts)],
            )
        return found

    def _inbred(self, way: Option, parents: list[str]) -> Sum:
        """The inbreeding of an animal that came about so."""
        if way.sire:
            return 0.0, [(1.0, self._pair(*parents))] if len(parents) == 2 else []
        twice = way.homozygosity
        if not parents:
            return twice, []
        return twice - (1 - twice), [(2 * (1 - twice), self._pair(parents[0], parents[0]))]
