"""Whole pedigrees drawn as they may be: everyone's sex and genotypes at once, for scenarios.

A draw depends on the seed and on nothing else; the same seed gives the same draws with any tables.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from msgspec import Struct

from scalewitness.domain.genetics.chromosomes import Karyotype
from scalewitness.domain.genetics.elimination import TooTangled
from scalewitness.domain.genetics.networks import families, resolved
from scalewitness.domain.genetics.passing import Summed
from scalewitness.domain.genetics.pedigree import Pedigree
from scalewitness.domain.genetics.solving import FamilyPart, bearing, kinds_of, solved
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
        {one: _share(seed, k, _SEX, place) < whole[one].male for place, one in enumerate(asked)}
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


_SEX = -1


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
    tables = [settled.table(one, row) for one in range(len(settled.sizes))]
    order = list(reversed(settled.tree.order))
    for k in range(n):
        found = [0] * len(tables)
        for one in order:
            at, step, scope = 0, 1, settled.tree.buckets[one].scope
            for other in reversed(scope[1:]):
                at += found[other] * step
                step *= settled.sizes[other]
            weights = tables[one][at::step]
            found[one] = _pick(weights, _share(seed, k, series, one))
        yield found


def _pick(weights: Sequence[float], share: float) -> int:
    left = share * sum(weights)
    for n, weight in enumerate(weights):
        left -= weight
        if left < 0:
            return n
    return max(range(len(weights)), key=weights.__getitem__)


def _share(*key: int) -> float:
    """A number in [0, 1) that looks random and depends on the key alone (SplitMix64: Steele,
    Lea and Flood 2014)."""
    mixed = 0
    for part in key:
        mixed = (mixed + part + 0x9E3779B97F4A7C15) & _ALL
        mixed = ((mixed ^ (mixed >> 30)) * 0xBF58476D1CE4E5B9) & _ALL
        mixed = ((mixed ^ (mixed >> 27)) * 0x94D049BB133111EB) & _ALL
        mixed ^= mixed >> 31
    return (mixed >> 11) * 2.0**-53


_ALL = 2**64 - 1
