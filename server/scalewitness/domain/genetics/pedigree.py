"""Animals, who their parents are and how sure that is, and what is known of their genotypes.

Values only: whoever builds a pedigree has decided what the reader may see. A parent that the reader
may not see is an unknown animal: None, or, where several young have the same one, a member
without evidence under an id of the caller's own making.
"""

from collections.abc import Iterable, Iterator, Mapping
from graphlib import CycleError, TopologicalSorter
from types import MappingProxyType

from msgspec import Struct

from scalewitness.domain.genetics.traits import Genotype

Parents = Mapping[str | None, float]
"""Chance of each candidate; what lacks of 1 is an unknown animal (None)."""
Likelihoods = Mapping[Genotype, float]
"""How likely what was found is with each genotype; one that is left out, 0. Only their ratios
count. One allele alone speaks of the sex with one such chromosome."""

_NOBODY: Parents = MappingProxyType({})
_NOTHING: Mapping[str, Likelihoods] = MappingProxyType({})
_SLACK = 1e-9


class Parthenogenesis(Struct, frozen=True):
    """The ``chance`` that an animal has no sire. ``homozygosity``: the chance that it got one
    chromosome of its dam twice, rather than both: 1 by terminal fusion without crossing over, 0 by
    central fusion without. Its sex follows from its sex chromosomes (WW does not live)."""

    chance: float
    homozygosity: float = 1.0


class Member(Struct, frozen=True):
    """One animal. ``male``: the chance that it is, from its standing (0.5 where nothing is known).

    A candidate's chance is that it is the parent, given that it is of the sex that takes. At a
    locus that goes with sex, a candidate that turns out to be of the other sex is not the
    parent, and an unknown animal is. Where the same ``litter`` is given, the litter has one
    sire and one dam, whoever they are: its members must have the same candidates and chances.
    ``evidence``: by locus key.
    """

    id: str
    male: float = 0.5
    sires: Parents = _NOBODY
    dams: Parents = _NOBODY
    parthenogenesis: Parthenogenesis | None = None
    evidence: Mapping[str, Likelihoods] = _NOTHING
    litter: str | None = None


class BadPedigree(ValueError):
    """Not a pedigree: an id twice, a parent that is no member, chances above 1, an animal among
    its own ancestors, or a litter whose members differ in their parents."""


class Pedigree:
    """Members, parents before their young. Raises BadPedigree."""

    def __init__(self, members: Iterable[Member]) -> None:
        given = list(members)
        found = {one.id: one for one in given}
        if len(found) < len(given):
            raise BadPedigree("an animal stands in it twice")
        for one in given:
            _check(one, found)
        _check_litters(given)
        self._members = MappingProxyType({key: found[key] for key in _by_age(found)})

    def __iter__(self) -> Iterator[Member]:
        return iter(self._members.values())

    def __len__(self) -> int:
        return len(self._members)

    def __contains__(self, key: object) -> bool:
        return key in self._members

    def __getitem__(self, key: str) -> Member:
        return self._members[key]

    def ancestry(self, of: Iterable[str]) -> frozenset[str]:
        """These and everything they may come from."""
        found: set[str] = set()
        waiting = list(of)
        while waiting:
            key = waiting.pop()
            if key not in found:
                found.add(key)
                waiting.extend(candidates(self._members[key]))
        return frozenset(found)


def candidates(member: Member) -> list[str]:
    """Members that may be its parents, each once, sires first."""
    named = [*member.sires, *member.dams]
    return list(dict.fromkeys(one for one in named if one is not None))


def with_unknown(parents: Parents) -> dict[str | None, float]:
    """All candidates with a chance, the unknown animal among them for what lacks of 1."""
    found: dict[str | None, float] = {
        key: p for key, p in parents.items() if key is not None and p > 0
    }
    rest = 1 - sum(found.values())
    if rest > _SLACK:
        found[None] = rest
    return found


def _check(member: Member, members: Mapping[str, Member]) -> None:
    for parents in (member.sires, member.dams):
        if any(p < 0 for p in parents.values()) or sum(parents.values()) > 1 + _SLACK:
            raise BadPedigree(f"{member.id}: chances of parents beyond 1")
    for key in candidates(member):
        if key not in members:
            raise BadPedigree(f"{member.id}: {key} is no member")
    if not 0 <= member.male <= 1:
        raise BadPedigree(f"{member.id}: {member.male} is no chance")


def _check_litters(members: Iterable[Member]) -> None:
    first: dict[str, Member] = {}
    for one in members:
        if one.litter is not None:
            other = first.setdefault(one.litter, one)
            if dict(one.sires) != dict(other.sires) or dict(one.dams) != dict(other.dams):
                raise BadPedigree(f"{one.id} and {other.id} are of one litter and differ")


def _by_age(members: Mapping[str, Member]) -> list[str]:
    order = TopologicalSorter({key: sorted(candidates(one)) for key, one in members.items()})
    try:
        return list(order.static_order())
    except CycleError as error:
        raise BadPedigree("an animal is among its own ancestors") from error
