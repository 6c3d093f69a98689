"""What young prove: how likely a parent still carries what its young have not shown."""

from msgspec import Struct

from scalewitness.domain.genetics.chromosomes import Role
from scalewitness.domain.genetics.evidence import meaning
from scalewitness.domain.genetics.young import Prospects

SURE = 0.95
"""How sure "proved" is in words."""


class PossibleParents(Struct, frozen=True):
    """The parents may be this with ``chance``; then one young shows it with ``shown``, and the
    parent in question carries it or not."""

    chance: float
    shown: float
    carries: bool


class ProofByYoung(Struct, frozen=True):
    """Both parents are weighed together: a brother and a sister that have no showing young clear
    each other less than two strangers do."""

    cases: tuple[PossibleParents, ...]

    def carries(self, young: int) -> float:
        """The chance that the parent carries it once so many young do not show it; NaN when
        that cannot be. Raises ValueError for fewer than none."""
        if young < 0:
            raise ValueError("fewer young than none")
        left = [(one.carries, one.chance * (1 - one.shown) ** young) for one in self.cases]
        whole = sum(p for _, p in left)
        return sum(p for carries, p in left if carries) / whole if whole > 0 else float("nan")

    def needed(self, sure: float = SURE) -> int | None:
        """How many young, none showing it, make it this sure that the parent does not carry it;
        None when no number does."""
        return next((n for n in range(_MOST) if self.carries(n) <= 1 - sure), None)


_MOST = 1000


def proof(
    prospects: Prospects, parent: Role, key: str, allele: str, *, males: bool | None = None
) -> ProofByYoung:
    """What young of the pairing would prove of one parent and an allele; of sons or daughters
    alone where ``males`` says so. Young already in the pedigree are counted there. Raises KeyError
    for a locus that the prospects do not have."""
    group = prospects.group(key)
    locus = {one.key: one for one in group.loci}[key]
    shows = meaning(locus, "shows", allele)
    cases = []
    for one in group.crosses:
        living = [
            (kind.genotypes[key], p)
            for kind, p in one.young
            if not kind.lost and (males is None or kind.male in (None, males))
        ]
        whole = sum(p for _, p in living)
        shown = sum(p for genotype, p in living if genotype in shows)
        carries = allele in (one.sire if parent == "sire" else one.dam)[key]
        if whole > 0:
            cases.append(PossibleParents(one.chance, shown / whole, carries))
    return ProofByYoung(tuple(cases))
