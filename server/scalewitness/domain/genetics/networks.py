"""A family's unknowns at some loci, and the tables that tie them together."""

from collections.abc import Iterable, Sequence

from msgspec import Struct
from msgspec.structs import replace

from scalewitness.domain.genetics.chromosomes import Karyotype
from scalewitness.domain.genetics.conception import Conceptions, Option, options
from scalewitness.domain.genetics.elimination import Scope
from scalewitness.domain.genetics.pedigree import Member, Pedigree, candidates, with_unknown

Column = tuple[Conceptions, ...]
"""Linked loci of the same make, to be computed side by side: in one network each."""


class Term(Struct, frozen=True):
    """A factor. ``values`` are flat, one list for each network or one for all of them."""

    scope: Scope
    values: tuple[list[float], ...]


class Network(Struct, frozen=True):
    """``sizes``: states by unknown. ``unknowns``: of a column's number and an animal."""

    sizes: list[int]
    tables: list[Term]
    unknowns: dict[tuple[int, str], int]


def families(members: Iterable[Member]) -> list[list[Member]]:
    """Members that parents or a litter tie together, parents first."""
    found: dict[str, list[Member]] = {}
    family: dict[str, str] = {}
    for one in members:
        tied = {family[key] for key in candidates(one)}
        own = max(tied, key=lambda key: len(found[key]), default=one.id)
        for other in tied - {own}:
            for relative in found.pop(other):
                family[relative.id] = own
                found[own].append(relative)
        family[one.id] = own
        found.setdefault(own, []).append(one)
    return list(found.values())


def resolved(pedigree: Pedigree) -> Pedigree:
    """The pedigree with an animal in place of every unknown parent that a litter shares."""
    if all(one.litter is None for one in pedigree):
        return pedigree
    found: dict[str, Member] = {}
    for one in pedigree:
        changed = one
        if one.litter is not None:
            sires, dams = with_unknown(one.sires), with_unknown(one.dams)
            for parents, role in ((sires, "sire"), (dams, "dam")):
                if None in parents:
                    unknown = Member(f"{role} of litter {one.litter}", float(role == "sire"))
                    found[unknown.id] = unknown
                    parents[unknown.id] = parents.pop(None)
            changed = replace(one, sires=sires, dams=dams)
        found[one.id] = changed
    return Pedigree(found.values())


def has_choices(members: Iterable[Member]) -> bool:
    """Whether someone's parents are uncertain."""
    return any(len(ways_of(one)) > 1 for one in members)


def ways_of(member: Member) -> tuple[Option, ...]:
    """How it may have come about; its candidates by their place among them."""
    return options(member, {key: n for n, key in enumerate(candidates(member))})


def network(members: Iterable[Member], columns: Sequence[Column], *, shared: bool) -> Network:
    """Of one family, parents first. ``shared``: which candidates are the parents is one unknown for
    all columns; else only for a litter, and each column judges it by itself."""
    found = Network([], [], {})
    choices: dict[str, int] = {}
    for one in members:
        ways = ways_of(one)
        choice: Scope = ()
        if len(ways) > 1 and (shared or one.litter is not None):
            choice = (_choice(found, choices, one, ways),)
        for n, column in enumerate(columns):
            own = _unknown(found, len(column[0].karyotype.states))
            found.unknowns[n, one.id] = own
            parents = tuple(found.unknowns[n, key] for key in candidates(one))
            found.tables.append(
                Term((own, *choice, *parents), _conceived(column, one, ways, choice))
            )
            if any(_has_evidence(kind.karyotype, one) for kind in column):
                known = tuple(_known(kind.karyotype, one) for kind in column)
                found.tables.append(Term((own,), known))
    return found


def _unknown(found: Network, size: int) -> int:
    found.sizes.append(size)
    return len(found.sizes) - 1


def _choice(found: Network, choices: dict[str, int], one: Member, ways: tuple[Option, ...]) -> int:
    key = f"of {one.id}" if one.litter is None else f"of litter {one.litter}"
    if key not in choices:
        choices[key] = _unknown(found, len(ways))
        found.tables.append(Term((choices[key],), ([way.chance for way in ways],)))
    return choices[key]


def _conceived(
    column: Column, one: Member, ways: tuple[Option, ...], choice: Scope
) -> tuple[list[float], ...]:
    """The table of where it comes from, for each network; one for all where frequencies of
    alleles do not enter it."""
    if is_founder(one):
        return tuple(kind.karyotype.founder(0.5) for kind in column)
    known = not any(way.dam is None or None in way.sire for way in ways)
    same = known and column[0].karyotype.linked.system is None
    return tuple(
        kind.table(ways, len(candidates(one)), bool(choice))
        for kind in (column[:1] if same else column)
    )


def is_founder(one: Member) -> bool:
    """Whether both its parents are unknown animals, and it has both."""
    return not candidates(one) and (one.parthenogenesis is None or one.parthenogenesis.chance == 0)


def _has_evidence(karyotype: Karyotype, one: Member) -> bool:
    """Whether anything is known of the animal itself at these loci."""
    if karyotype.linked.system is not None and one.male != 0.5:
        return True
    return any(locus.key in one.evidence for locus in karyotype.linked.loci)


def _known(karyotype: Karyotype, one: Member) -> list[float]:
    """How likely everything known of the animal itself is in each state: looks, tests, and its sex
    at loci that go with it, against one half each at conception."""
    found = []
    for state in karyotype.states:
        sexed = 1.0 if state.male is None else one.male if state.male else 1 - one.male
        for at, genotype in zip(karyotype.linked.loci, karyotype.genotypes(state), strict=True):
            if at.key in one.evidence:
                sexed *= one.evidence[at.key].get(genotype, 0.0)
        found.append(sexed)
    return found
