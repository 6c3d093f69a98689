"""What two animals whose genotypes are given bring, were the first the sire.

Where loci are inherited together, which alleles lie on one chromosome is not given with a genotype;
both ways are then as likely. At a locus where nothing is given an animal is as any unknown one.
"""

from collections.abc import Collection, Iterable

from scalewitness.domain.genetics.chromosomes import Diplotype, Karyotype, Role, grouped
from scalewitness.domain.genetics.traits import Genotype, Locus
from scalewitness.domain.genetics.young import Cross, Group, Prospects, cross
from scalewitness.domain.season.values import Genotypes, Want

BARRING = frozenset({"lethal", "neurological"})
"""Kinds of harm to young for which a pairing is never proposed."""


class Crossing:
    """Crosses at the loci of a season that can be computed."""

    def __init__(self, loci: Iterable[Locus]) -> None:
        given = sorted((one for one in loci if one.computed), key=lambda one: one.key)
        species = sorted({one.species for one in given})
        of = ([one for one in given if one.species == kind] for kind in species)
        self._karyotypes = tuple(Karyotype(one) for loci in of for one in grouped(loci))
        self._groups: dict[tuple[object, ...], Group] = {}
        self._loci = {one.key: one for one in given}

    def has_once(self, key: str, *, male: bool) -> bool:
        """Whether an animal of that sex has the locus once."""
        locus = self._loci[key]
        return locus.hemizygous and locus.system == ("XY" if male else "ZW")

    def bearing_on(self, want: Want) -> tuple[str, ...]:
        """Loci at which it matters for a want what the two carry, with those inherited together
        with them."""
        named = _named(want)
        return _keys(
            one
            for one in self._karyotypes
            if named.intersection(_keys([one])) or _harms(one, {"lethal"})
        )

    def barring(self) -> tuple[str, ...]:
        """Loci at which what the two carry may bar the pairing."""
        return _keys(one for one in self._karyotypes if _harms(one, BARRING))

    def chance(self, want: Want, sire: Genotypes, dam: Genotypes) -> float:
        """Of one young. Nothing is met at a locus at which either has no genotype given: an unknown
        animal never looks promising."""
        if any(key not in sire or key not in dam for key in _named(want)):
            return 0.0
        return self._of(self.bearing_on(want), sire, dam).chance(want.young)

    def harmed(self, sire: Genotypes, dam: Genotypes) -> float:
        """The chance that one young comes to the likeliest harm that bars a pairing."""
        harm = self._of(self.barring(), sire, dam).harm()
        return max((one.chance for one in harm if one.harm.kind in BARRING), default=0.0)

    def _of(self, keys: Iterable[str], sire: Genotypes, dam: Genotypes) -> Prospects:
        """Without loci at which nothing is given of either, as those of another species."""
        wanted = set(keys).intersection({*sire, *dam})
        of = (one for one in self._karyotypes if wanted.intersection(_keys([one])))
        return Prospects(tuple(self._group(one, sire, dam) for one in of))

    def _group(self, karyotype: Karyotype, sire: Genotypes, dam: Genotypes) -> Group:
        keys = _keys([karyotype])
        known = (keys, *(sire.get(key) for key in keys), *(dam.get(key) for key in keys))
        if known not in self._groups:
            sires, dams = _states(karyotype, sire, "sire"), _states(karyotype, dam, "dam")
            crosses = (
                Cross(p * q, cross(karyotype, his, hers)) for his, p in sires for hers, q in dams
            )
            self._groups[known] = Group(karyotype.linked.loci, tuple(crosses))
        return self._groups[known]


def _named(want: Want) -> frozenset[str]:
    return frozenset({*want.young.genotypes, *want.young.looks})


def _keys(karyotypes: Iterable[Karyotype]) -> tuple[str, ...]:
    return tuple(sorted(locus.key for one in karyotypes for locus in one.linked.loci))


def _harms(karyotype: Karyotype, kinds: Collection[str]) -> bool:
    return any(harm.kind in kinds for locus in karyotype.linked.loci for harm in locus.harm)


def _states(karyotype: Karyotype, known: Genotypes, role: Role) -> list[tuple[Diplotype, float]]:
    """What the parent may be; nothing where a genotype is not one of its sex."""
    wanted = [known.get(one.key) for one in karyotype.linked.loci]
    prior = zip(karyotype.states, karyotype.founder(float(role == "sire")), strict=True)
    found = [(one, p) for one, p in prior if p > 0 and _agrees(karyotype.genotypes(one), wanted)]
    whole = sum(p for _, p in found)
    return [(one, p / whole) for one, p in found]


def _agrees(genotypes: Iterable[Genotype], known: Iterable[Genotype | None]) -> bool:
    return all(one is None or one == its for one, its in zip(known, genotypes, strict=True))
