"""What young have proved, and would prove, of a parent that may carry what they have not shown."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final
from uuid import UUID

from scalewitness.breeding.queries.carrying import ON_PAGE, Stock
from scalewitness.breeding.queries.pedigrees import PedigreeSeen, Relative, young_of
from scalewitness.domain.genetics.chromosomes import Role
from scalewitness.domain.genetics.elimination import TooTangled
from scalewitness.domain.genetics.passing import Contradiction
from scalewitness.domain.genetics.prospects import prospects
from scalewitness.domain.genetics.proving import ProofByYoung, proof
from scalewitness.domain.genetics.traits import Locus
from scalewitness.domain.genetics.young import Prospects

OPEN: Final = (0.02, 0.98)
"""Between these chances it is worth saying what young would prove (our judgement)."""


@dataclass(frozen=True, slots=True)
class YoungNeeded:
    """Of one parent and an allele: ``carries`` the chance now; ``needed``: so many young more, none
    showing it, make it 95 in 100 sure that it does not; None: no number does."""

    parent: UUID
    role: Role
    locus: Locus
    allele: str
    carries: float
    needed: int | None


@dataclass(frozen=True, slots=True)
class ProvedByYoung:
    """The same with the ``mate`` by which it has most young: ``young`` of them were stated not to
    show it."""

    mate: UUID
    young: int
    proving: YoungNeeded


def provings(
    brings: Prospects, loci: tuple[Locus, ...], sire: UUID, dam: UUID
) -> list[YoungNeeded]:
    """Of either parent, wherever it is open whether it carries something."""
    parents: tuple[tuple[Role, UUID], ...] = (("sire", sire), ("dam", dam))
    return [
        YoungNeeded(parent, role, locus, allele, carries, found.needed())
        for role, parent in parents
        for locus in loci
        for allele in locus.alleles[1:]
        for found in [proof(brings, role, locus.key, allele)]
        for carries in [_now(found)]
        if OPEN[0] < carries < OPEN[1]
    ]


def _now(found: ProofByYoung) -> float:
    return sum(one.chance for one in found.cases if one.carries)


def proved_by_young(found: PedigreeSeen, stock: Stock, animal: UUID) -> Iterator[ProvedByYoung]:
    """Nothing where the two together are too tangled."""
    young = young_of(found, animal)
    mates = Counter(mate for one in young if (mate := _other(one, animal)))
    for mate, _ in mates.most_common(1):
        first = any(one.sire == animal for one in young if _other(one, animal) == mate)
        sire, dam = (animal, mate) if first else (mate, animal)
        for locus in stock.loci:
            try:
                brings = prospects(stock.pedigree, [locus], str(sire), str(dam), ON_PAGE)
            except (TooTangled, Contradiction):
                continue
            unshown = sum(
                any(each.locus == locus.key and each.says == "does_not_show" for each in one.stated)
                for one in young
                if _other(one, animal) == mate
            )
            for proving in provings(brings, (locus,), sire, dam):
                if proving.parent == animal:
                    yield ProvedByYoung(mate, unshown, proving)


def _other(one: Relative, animal: UUID) -> UUID | None:
    return one.dam if one.sire == animal else one.sire
