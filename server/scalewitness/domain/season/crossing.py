"""What two animals whose genotypes are given bring, were the first the sire.

Where loci are inherited together, which alleles lie on one chromosome is not given with a genotype;
both ways are then as likely. At a locus where nothing is given an animal is as any unknown one.
"""

from collections.abc import Iterable

from scalewitness.domain.genetics.chromosomes import Karyotype, Role, State, grouped
from scalewitness.domain.genetics.traits import Genotype, Locus
from scalewitness.domain.genetics.young import Cross, Group, Prospects, cross
from scalewitness.domain.season.values import Genotypes, Want

BARRING = frozenset({"lethal", "neurological"})
"""Kinds of harm to young for which a pairing is never proposed."""


class Crossing:
    """Crosses at the loci of a season that can be computed."""

    def __init__(self, loci: Iterable[Locus]) -> None:
        given = sorted((one for one in loci if one.computed), key=lambda one: one.key)
        self._karyotypes = [Karyotype(one) for one in grouped(given)]
        self._prospects: dict[tuple[object, ...], Prospects] = {}
        self.keys = tuple(one.key for one in given)
        self._loci = {one.key: one for one in given}

    def has_once(self, key: str, *, male: bool) -> bool:
        """Whether an animal of that sex has the locus once."""
        locus = self._loci[key]
        return locus.hemizygous and locus.system == ("XY" if male else "ZW")

    def chance(self, want: Want, sire: Genotypes, dam: Genotypes) -> float:
        """Of one young. Nothing is met at a locus at which either has no genotype given: an unknown
        animal never looks promising."""
        named = {*want.young.genotypes, *want.young.looks}
        if any(key not in sire or key not in dam for key in named):
            return 0.0
        return self._of(sire, dam).chance(want.young)

    def harmed(self, sire: Genotypes, dam: Genotypes) -> float:
        """The chance that one young comes to the likeliest harm that bars a pairing."""
        harm = self._of(sire, dam).harm()
        return max((one.chance for one in harm if one.harm.kind in BARRING), default=0.0)

    def _of(self, sire: Genotypes, dam: Genotypes) -> Prospects:
        key = (*((at, sire.get(at)) for at in self.keys), *(dam.get(at) for at in self.keys))
        if key not in self._prospects:
            groups = (self._group(one, sire, dam) for one in self._karyotypes)
            self._prospects[key] = Prospects(tuple(groups))
        return self._prospects[key]

    def _group(self, karyotype: Karyotype, sire: Genotypes, dam: Genotypes) -> Group:
        sires, dams = _states(karyotype, sire, "sire"), _states(karyotype, dam, "dam")
        crosses = (
            Cross(p * q, cross(karyotype, his, hers)) for his, p in sires for hers, q in dams
        )
        return Group(karyotype.linked.loci, tuple(crosses))


def _states(karyotype: Karyotype, known: Genotypes, role: Role) -> list[tuple[State, float]]:
    """What the parent may be; nothing where a genotype is not one of its sex."""
    wanted = [known.get(one.key) for one in karyotype.linked.loci]
    prior = zip(karyotype.states, karyotype.founder(float(role == "sire")), strict=True)
    found = [(one, p) for one, p in prior if p > 0 and _agrees(karyotype.genotypes(one), wanted)]
    whole = sum(p for _, p in found)
    return [(one, p / whole) for one, p in found]


def _agrees(genotypes: Iterable[Genotype], known: Iterable[Genotype | None]) -> bool:
    return all(one is None or one == its for one, its in zip(known, genotypes, strict=True))
