"""What animals carry: the exact chance of every genotype from everything known of a pedigree.

The sum over all unknowns is done family by family, in an order of least fill (``elimination``),
with inbreeding loops as they are. Where its tables would have too many entries, the answer is a
pair of honest bounds instead.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import Any

from msgspec import Struct

from scalewitness.domain.genetics.bounds import between
from scalewitness.domain.genetics.chromosomes import Karyotype
from scalewitness.domain.genetics.networks import families, resolved
from scalewitness.domain.genetics.pedigree import Pedigree
from scalewitness.domain.genetics.solving import FamilyPart, bearing, kinds_of, solved
from scalewitness.domain.genetics.tables import PLAIN, T, Tables
from scalewitness.domain.genetics.traits import Genotype, Locus


class Bounded(Struct, frozen=True):
    """In place of an exact answer: the true chance of each genotype lies between these."""

    low: Mapping[Genotype, float]
    high: Mapping[Genotype, float]


Chances = Mapping[Genotype, float] | Bounded
"""Of every genotype an animal may have, summing to 1; of those of both sexes where the locus goes
with sex and its sex is not sure."""


class Carried(Struct, frozen=True):
    """``chances`` by locus key and animal. ``apart``: animals in whose families uncertain parents
    were judged at some locus by itself, because all loci together were too tangled."""

    chances: Mapping[str, Mapping[str, Chances]]
    apart: frozenset[str]


def carried(
    pedigree: Pedigree,
    locus: Locus,
    tables: Tables[Any] = PLAIN,
    of: Collection[str] | None = None,
) -> Mapping[str, Chances]:
    """What each animal carries at one locus, from what is known at that locus; of those asked for,
    or of all. ``tables``: plain for a page, arrays for the worker. Raises Contradiction."""
    return carried_at(pedigree, [locus], tables, of).chances[locus.key]


def carried_at(
    pedigree: Pedigree,
    loci: Iterable[Locus],
    tables: Tables[Any] = PLAIN,
    of: Collection[str] | None = None,
) -> Carried:
    """The same at several loci of a species, those never computed left out. What one locus says of
    uncertain parents counts at the others. Raises Contradiction."""
    kinds = kinds_of(loci)
    found: dict[str, dict[str, Chances]] = {
        one.key: {} for kind in kinds for one in kind.karyotype.linked.loci
    }
    apart: set[str] = set()
    asked = frozenset(of) if of is not None else frozenset(one.id for one in pedigree)
    members = bearing(resolved(pedigree), kinds, None if of is None else asked)
    for family in families(members):
        names = [one.id for one in family if one.id in asked]
        if names:
            parts, is_apart = solved(family, kinds, tables)
            apart.update(names if is_apart else ())
            for key, name, chances in (one for part in parts for one in _answers(part, names)):
                found[key][name] = chances
    return Carried(found, frozenset(apart))


def _answers(part: FamilyPart[T], names: Sequence[str]) -> Iterator[tuple[str, str, Chances]]:
    for name in names:
        for n, column in enumerate(part.columns):
            unknown = part.network.unknowns[n, name]
            if part.settled is not None:
                rows = part.settled.chances(unknown)
                for row, kind in enumerate(column):
                    yield from _exact(kind.karyotype, name, rows[row % len(rows)])
            else:
                bounds = between(part.network, unknown, part.tables)
                for row, kind in enumerate(column):
                    one = bounds[row % len(bounds)]
                    yield from _bounded(kind.karyotype, name, one.low, one.high)


def _exact(
    karyotype: Karyotype, name: str, chances: Sequence[float]
) -> Iterator[tuple[str, str, Chances]]:
    for key, states in karyotype.by_locus:
        yield (
            key,
            name,
            {
                genotype: p
                for genotype, at in states.items()
                if (p := sum(chances[one] for one in at)) > 0
            },
        )


def _bounded(
    karyotype: Karyotype, name: str, low: Sequence[float], high: Sequence[float]
) -> Iterator[tuple[str, str, Chances]]:
    """A genotype of several states has at least the sum of their least, and at least what the most
    of all others leave."""
    for key, states in karyotype.by_locus:
        least, most = {}, {}
        for genotype, at in states.items():
            inside, outside = set(at), set(range(len(karyotype.states))) - set(at)
            least[genotype] = max(sum(low[n] for n in inside), 1 - sum(high[n] for n in outside), 0)
            most[genotype] = min(sum(high[n] for n in inside), 1 - sum(low[n] for n in outside), 1)
        yield key, name, Bounded(least, most)
