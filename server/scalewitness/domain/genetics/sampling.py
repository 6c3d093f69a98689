"""Whole pedigrees drawn as they may be: everyone's sex and genotypes at once, for scenarios.

A draw depends on the seed and on nothing else; the same seed gives the same draws with any tables.
"""

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import accumulate
from typing import Any

from msgspec import Struct

from scalewitness.domain.genetics.chromosomes import Karyotype
from scalewitness.domain.genetics.elimination import TooTangled
from scalewitness.domain.genetics.networks import families, resolved
from scalewitness.domain.genetics.passing import Summed
from scalewitness.domain.genetics.pedigree import Pedigree
from scalewitness.domain.genetics.solving import FamilyPart, bearing, kinds_of, solved
from scalewitness.domain.genetics.splitmix import STEP, finalized, share
from scalewitness.domain.genetics.tables import PLAIN, Tables
from scalewitness.domain.genetics.traits import Genotype, Locus


class DrawnHerd(Struct, frozen=True):
    """One way it may all be: who is male, and genotypes by animal and locus key."""

    males: dict[str, bool]
    genotypes: dict[str, dict[str, Genotype]]


def sampled(
    pedigree: Pedigree,
    loci: Iterable[Locus],
    n: int,
    seed: int,
    tables: Tables[Any] = PLAIN,
    of: Iterable[str] | None = None,
) -> list[DrawnHerd]:
    """``n`` independent draws from what is known, of the animals asked for or of all. At
    loci of the sex chromosomes sexes go with genotypes; else they are drawn from ``male`` alone.
    Raises Contradiction and TooTangled."""
    kinds = kinds_of(loci)
    whole = resolved(pedigree)
    asked = [one.id for one in pedigree] if of is None else list(of)
    males = [
        {
            one: _mixed(_mixed(_mixed(0, seed), k) ^ _SEXES, place) * 2.0**-64 < whole[one].male
            for place, one in enumerate(asked)
        }
        for k in range(n)
    ]
    drawn = [DrawnHerd(sexes, {one: {} for one in asked}) for sexes in males]
    wanted = frozenset(asked)
    series = 0
    for family in families(bearing(whole, kinds, None if of is None else asked)):
        names = [one.id for one in family if one.id in wanted]
        for part in solved(family, kinds, tables)[0] if names else ():
            series = _draw(part, names, drawn, seed, series)
    return drawn


_SEXES = 1 << 63
"""Keeps the numbers of sexes apart from those of genotypes."""


def _draw(
    part: FamilyPart[Any], names: Sequence[str], drawn: Sequence[DrawnHerd], seed: int, series: int
) -> int:
    """Add a part's draws. Each of its networks is a series of random numbers of its own; the next
    series that is free."""
    if part.settled is None:
        raise TooTangled("the pedigree is too tangled to be drawn")
    networks = max(len(column) for column in part.columns)
    for row in range(networks):
        for k, states in enumerate(_states(part.settled, row, len(drawn), seed, series + row)):
            for n, column in enumerate(part.columns):
                _note(column[row].karyotype, drawn[k], names, states, part.network.unknowns, n)
    return series + networks


def _note(
    karyotype: Karyotype,
    drawn: DrawnHerd,
    names: Sequence[str],
    states: Sequence[int],
    unknowns: Mapping[tuple[int, str], int],
    column: int,
) -> None:
    for name in names:
        state = karyotype.states[states[unknowns[column, name]]]
        if state.male is not None:
            drawn.males[name] = state.male
        keys = (one.key for one in karyotype.linked.loci)
        drawn.genotypes[name].update(zip(keys, karyotype.genotypes(state), strict=True))


def _states(settled: Summed[Any], row: int, n: int, seed: int, series: int) -> Iterator[list[int]]:
    """Draws of all unknowns: outwards from the roots, each given those that share its table."""
    urns = [_Urn(settled, one, row) for one in reversed(settled.tree.order)]
    for k in range(n):
        start = _mixed(_mixed(_mixed(0, seed), k), series)
        found = [0] * len(urns)
        for urn in urns:
            found[urn.unknown] = urn.draw(found, _mixed(start, urn.unknown))
        yield found


class _Urn:
    """What an unknown may be, for what those that share its table are."""

    def __init__(self, settled: Summed[Any], unknown: int, row: int) -> None:
        self.unknown = unknown
        self._table = settled.table(unknown, row)
        self._steps: list[tuple[int, int]] = []
        self._behind = 1
        for other in reversed(settled.tree.buckets[unknown].scope[1:]):
            self._steps.append((other, self._behind))
            self._behind *= settled.sizes[other]
        self._ends: dict[int, list[float]] = {}

    def draw(self, states: Sequence[int], number: int) -> int:
        at = sum(states[other] * step for other, step in self._steps)
        if at not in self._ends:
            self._ends[at] = list(accumulate(self._table[at :: self._behind]))
        ends = self._ends[at]
        return bisect_right(ends, share(number) * ends[-1], hi=len(ends) - 1)


def _mixed(number: int, part: int) -> int:
    """64 bits that look random and hang on both alone."""
    return finalized(number + part + STEP)
