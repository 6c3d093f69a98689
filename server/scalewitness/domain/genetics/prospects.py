"""The prospects of two animals of a pedigree: what they carry together, and so what they bring."""

from collections.abc import Iterable, Sequence
from typing import Any

from scalewitness.domain.genetics.chromosomes import Karyotype
from scalewitness.domain.genetics.elimination import TooTangled
from scalewitness.domain.genetics.networks import families, resolved
from scalewitness.domain.genetics.passing import Contradiction
from scalewitness.domain.genetics.pedigree import Pedigree
from scalewitness.domain.genetics.solving import FamilyPart, bearing, kinds_of, solved
from scalewitness.domain.genetics.tables import PLAIN, Tables
from scalewitness.domain.genetics.traits import Locus
from scalewitness.domain.genetics.young import Cross, Group, Prospects, cross

Joint = dict[tuple[int, int], float]
"""Chance of each pair of states: the sire's, the dam's."""


def prospects(
    pedigree: Pedigree, loci: Iterable[Locus], sire: str, dam: str, tables: Tables[Any] = PLAIN
) -> Prospects:
    """Of a sire and a dam of one species, if they are a male and a female. At each set of linked
    loci what they carry is taken together, relatives or not. Raises Contradiction, also where
    either cannot be of that sex; TooTangled; ValueError for an animal with itself."""
    if sire == dam:
        raise ValueError("an animal with itself")
    kinds = kinds_of(loci)
    parts: list[tuple[FamilyPart[Any], list[str]]] = []
    for family in families(bearing(resolved(pedigree), kinds, [sire, dam])):
        names = [one for one in (sire, dam) if any(member.id == one for member in family)]
        if names:
            pair = (sire, dam) if len(names) == 2 else None
            parts += [(part, names) for part in solved(family, kinds, tables, pair)[0]]
    found: dict[int, list[tuple[list[str], list[float]]]] = {}
    karyotypes: dict[int, Karyotype] = {}
    for part, names in parts:
        for key, karyotype, row in _rows(part, names):
            karyotypes[key] = karyotype
            found.setdefault(key, []).append((names, row))
    return Prospects(
        tuple(
            _group(karyotypes[key], _joint(rows, sire, dam, len(karyotypes[key].states)))
            for key, rows in found.items()
        )
    )


def _rows(
    part: FamilyPart[Any], names: Sequence[str]
) -> Iterable[tuple[int, Karyotype, list[float]]]:
    """The chances of the animals' states together, flat, in the order of ``names``."""
    if part.settled is None:
        raise TooTangled("the pedigree is too tangled for the two together")
    for n, column in enumerate(part.columns):
        unknowns = tuple(part.network.unknowns[n, one] for one in names)
        ordered = part.settled.tree.in_order(unknowns)
        rows = part.settled.joint(unknowns)
        for number, kind in enumerate(column):
            row = rows[number % len(rows)]
            size = len(kind.karyotype.states)
            if ordered != unknowns:
                row = [row[a + size * b] for a in range(size) for b in range(size)]
            yield id(kind), kind.karyotype, row


def _joint(rows: Sequence[tuple[list[str], list[float]]], sire: str, dam: str, size: int) -> Joint:
    if len(rows) == 1:
        return {divmod(n, size): p for n, p in enumerate(rows[0][1])}
    alone = {names[0]: row for names, row in rows}
    return {(s, d): p * q for s, p in enumerate(alone[sire]) for d, q in enumerate(alone[dam])}


def _group(karyotype: Karyotype, joint: Joint) -> Group:
    possible = {
        (karyotype.states[s], karyotype.states[d]): p
        for (s, d), p in joint.items()
        if p > 0 and karyotype.states[s].male is not False and karyotype.states[d].male is not True
    }
    whole = sum(possible.values())
    if whole <= 0:
        raise Contradiction("they cannot be a male and a female")
    keys = [one.key for one in karyotype.linked.loci]
    return Group(
        karyotype.linked.loci,
        tuple(
            Cross(
                p / whole,
                cross(karyotype, his, hers),
                dict(zip(keys, karyotype.genotypes(his), strict=True)),
                dict(zip(keys, karyotype.genotypes(hers), strict=True)),
            )
            for (his, hers), p in possible.items()
        ),
    )
