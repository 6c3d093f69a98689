"""A family's network at each locus, summed once: what all questions about it are answered from."""

from collections.abc import Iterable, Iterator, Sequence
from typing import Generic

from scalewitness.domain.genetics.chromosomes import Karyotype, grouped
from scalewitness.domain.genetics.conception import Conceptions
from scalewitness.domain.genetics.elimination import Scope, TooTangled, Tree, tree
from scalewitness.domain.genetics.networks import Column, Network, has_choices, network
from scalewitness.domain.genetics.passing import Summed, settle
from scalewitness.domain.genetics.pedigree import Member, Pedigree
from scalewitness.domain.genetics.tables import T, Tables
from scalewitness.domain.genetics.traits import Locus

MOST_AT_ONCE = 3_000
"""Genotypes in one network of several loci (our judgement: larger ones with uncertain parents are
too tangled anyway, and finding that out takes time)."""


class FamilyPart(Generic[T]):
    """Networks of one family: at loci of the same make side by side, or at all loci in one.
    ``settled`` is None where it is too tangled."""

    def __init__(
        self,
        columns: Sequence[Column],
        made: Network,
        settled: Summed[T] | None,
        tables: Tables[T],
    ) -> None:
        self.columns, self.network, self.settled, self.tables = columns, made, settled, tables


def kinds_of(loci: Iterable[Locus]) -> list[Conceptions]:
    """Loci that are computed, linked ones together."""
    return [Conceptions(Karyotype(one)) for one in grouped(x for x in loci if x.computed)]


def bearing(
    pedigree: Pedigree, kinds: Sequence[Conceptions], asked: Iterable[str] | None
) -> list[Member]:
    """Members that bear on those asked for, parents first: themselves, whoever something is known
    of, and the ancestors of both. Nobody else's genotype would change an answer."""
    if asked is None:
        return list(pedigree)
    loci = {one.key for kind in kinds for one in kind.karyotype.linked.loci}
    known = [one.id for one in pedigree if not loci.isdisjoint(one.evidence)]
    wanted = pedigree.ancestry([*asked, *known])
    return [one for one in pedigree if one.id in wanted]


def solved(
    family: Sequence[Member],
    kinds: Sequence[Conceptions],
    tables: Tables[T],
    pair: tuple[str, str] | None = None,
) -> tuple[list[FamilyPart[T]], bool]:
    """The family's networks, and whether some locus had to judge uncertain parents by itself.
    Where parents are uncertain, all loci are one network; where that is too tangled, all at
    which something is known; where that is too, none. ``pair``: two animals whose chances are
    wanted together."""
    if not has_choices(family) or len(kinds) == 1:
        return _each(family, kinds, tables, pair), False
    informed = [one for one in kinds if _has_evidence(one, family)]
    for some in (kinds, informed):
        if len(some) > 1 and len(family) * len(some) <= MOST_AT_ONCE:
            part = _solved(family, [(one,) for one in some], tables, pair)
            if part.settled is not None:
                rest = [one for one in kinds if one not in some]
                return [part, *_each(family, rest, tables, pair)], bool(rest)
    return _each(family, kinds, tables, pair), len(informed) > 0


def _has_evidence(kind: Conceptions, family: Iterable[Member]) -> bool:
    """Whether anything in the family says something at these loci, of genotypes and so of
    uncertain parents too."""
    keys = [one.key for one in kind.karyotype.linked.loci]
    return any(key in one.evidence for one in family for key in keys)


def _each(
    family: Sequence[Member],
    kinds: Sequence[Conceptions],
    tables: Tables[T],
    pair: tuple[str, str] | None,
) -> list[FamilyPart[T]]:
    return [
        _solved(family, [column], tables, pair)
        for column in _side_by_side(kinds, tables.most_at_once)
    ]


def _side_by_side(kinds: Iterable[Conceptions], most: int) -> Iterator[Column]:
    makes: dict[object, list[Conceptions]] = {}
    for one in kinds:
        makes.setdefault(_make(one.karyotype), []).append(one)
    for alike in makes.values():
        for n in range(0, len(alike), most):
            yield tuple(alike[n : n + most])


def _make(karyotype: Karyotype) -> object:
    """The same for loci whose young come about alike, frequencies of alleles apart."""
    linked = karyotype.linked
    to_sex = linked.loci[0].sex_linkage
    order = [{key: n for n, key in enumerate(one.alleles)} for one in linked.loci]
    living = tuple(
        tuple(at.get(key, -1) for at, key in zip(order, chromosome.alleles, strict=True))
        for state in karyotype.states
        for chromosome in (state.one, state.other)
    )
    return linked.system, linked.r, None if to_sex is None else to_sex.r, living


def _solved(
    family: Sequence[Member],
    columns: Sequence[Column],
    tables: Tables[T],
    pair: tuple[str, str] | None,
) -> FamilyPart[T]:
    made = network(family, columns, shared=len(columns) > 1)
    together: list[Scope] = []
    if pair is not None:
        together = [tuple(made.unknowns[n, one] for one in pair) for n in range(len(columns))]
    try:
        shape = tree(made.sizes, [one.scope for one in made.tables], tables.most_entries, together)
    except TooTangled:
        return FamilyPart(columns, made, None, tables)
    return FamilyPart(columns, made, _settle(made, shape, tables), tables)


def _settle(made: Network, shape: Tree, tables: Tables[T]) -> Summed[T]:
    done: dict[int, T] = {}  # the same table of conception serves all its young
    factors = []
    for one in made.tables:
        key = id(one.values[0]) if len(one.values) == 1 else id(one)
        if key not in done:
            done[key] = tables.given(one.values, [made.sizes[x] for x in one.scope])
        factors.append((one.scope, done[key]))
    return settle(shape, made.sizes, factors, tables)
