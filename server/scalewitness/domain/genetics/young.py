"""What a pairing should bring: looks, genotypes and sexes of the young, over all loci jointly.

The young of one clutch have the same two parents. Whatever is uncertain about the parents is
therefore kept apart from what chance does to each egg: one wanted young in eight eggs of a dam
that carries with chance one half is not as likely as of eight dams.
"""

from collections.abc import Iterable, Mapping, Sequence
from itertools import product
from math import exp, lgamma, log, log1p, prod
from types import MappingProxyType
from typing import TypeVar

from msgspec import Struct

from scalewitness.domain.genetics.chromosomes import Diplotype, Karyotype
from scalewitness.domain.genetics.traits import Genotype, Harm, Locus

K = TypeVar("K")

ClutchSizes = Mapping[int, float]
"""The chance of each number of eggs, or of young born; sums to 1."""


class Kind(Struct, frozen=True):
    """Young alike in sex (None: the loci say nothing of it) and in genotypes by locus key.
    ``lost``: they do not live."""

    male: bool | None
    genotypes: Mapping[str, Genotype]
    lost: bool


class WantedYoung(Struct, frozen=True):
    """Living young of that sex, if one is asked for, showing one of these looks and having one of
    these genotypes at every locus named."""

    male: bool | None = None
    looks: Mapping[str, frozenset[str]] = MappingProxyType({})
    genotypes: Mapping[str, frozenset[Genotype]] = MappingProxyType({})


class Cross(Struct, frozen=True):
    """One thing the two parents may be at linked loci, and how likely that is; ``young``: the
    kinds of their young with chances that sum to 1; the parents' genotypes by locus key."""

    chance: float
    young: tuple[tuple[Kind, float], ...]
    sire: Mapping[str, Genotype] = MappingProxyType({})
    dam: Mapping[str, Genotype] = MappingProxyType({})


class Group(Struct, frozen=True):
    """Loci inherited together, with what the parents may be there."""

    loci: tuple[Locus, ...]
    crosses: tuple[Cross, ...]


class HarmExpected(Struct, frozen=True):
    """A harm that young of the pairing may come to, and the chance for one egg."""

    locus: str
    harm: Harm
    chance: float


class Prospects(Struct, frozen=True):
    """Of a male and a female, if that is what they are. Loci in different groups are independent
    of each other for given parents; the parents' own are taken as independent too."""

    groups: tuple[Group, ...]

    def chance(self, wanted: WantedYoung) -> float:
        """That an egg brings a wanted young."""
        return sum(p * weight for p, weight in self.chances(wanted).items())

    def chances(self, wanted: WantedYoung) -> dict[float, float]:
        """The chance of a wanted young for one egg, for each thing the parents may be, with how
        likely that is: {chance of an egg: weight}."""
        sexed = [one for one in self.groups if one.loci[0].system is not None]
        found = {0.5 if wanted.male is not None and not sexed else 1.0: 1.0}
        for group in self.groups:
            found = _times(found, _of_group(group, wanted))
        return found

    def counts(self, wanted: WantedYoung, clutch: ClutchSizes) -> dict[int, float]:
        """The chance of each number of wanted young in one clutch."""
        found: dict[int, float] = {}
        for p, weight in self.chances(wanted).items():
            for n, share in clutch.items():
                for k in range(n + 1):
                    found[k] = found.get(k, 0.0) + weight * share * _exactly(k, n, p)
        return found

    def at_least(self, k: int, wanted: WantedYoung, clutch: ClutchSizes) -> float:
        """The chance of k or more wanted young in one clutch."""
        return sum(weight * at_least(k, p, clutch) for p, weight in self.chances(wanted).items())

    def expected(self, wanted: WantedYoung, clutch: ClutchSizes) -> float:
        """How many wanted young a clutch brings on average."""
        return self.chance(wanted) * mean_young(clutch)

    def lost(self) -> float:
        """The chance that an egg's young does not live, of lethal genotypes alone."""
        return 1 - self.chance(WantedYoung())

    def genotypes(self, key: str) -> dict[Genotype, float]:
        """Of conceived young at one locus, lost ones among them. Raises KeyError."""
        return _summed((kind.genotypes[key], p) for kind, p in self._kinds(self.group(key)))

    def looks(self, key: str) -> dict[str, float]:
        """Of conceived young at one locus, by the look's key. Raises KeyError."""
        at = {one.key: one for one in self.group(key).loci}[key]
        return _summed((at.look(one).key, p) for one, p in self.genotypes(key).items())

    def kinds(self, keys: Sequence[str]) -> list[tuple[Kind, float]]:
        """All kinds of conceived young at these loci together, likeliest first. How many there are
        multiplies with every locus. Raises KeyError."""
        groups = dict.fromkeys(id(self.group(key)) for key in keys)
        parts = [self._kinds(one) for one in self.groups if id(one) in groups]
        found: dict[tuple[bool | None, tuple[Genotype, ...], bool], float] = {}
        for combination in product(*parts):
            kind = _joined([one for one, _ in combination])
            name = (kind.male, tuple(kind.genotypes[key] for key in keys), kind.lost)
            found[name] = found.get(name, 0.0) + prod(p for _, p in combination)
        ranked = sorted(found.items(), key=lambda one: -one[1])
        return [
            (Kind(male, dict(zip(keys, genotypes, strict=True)), lost), p)
            for (male, genotypes, lost), p in ranked
        ]

    def harm(self) -> list[HarmExpected]:
        """Everything published or said to befall young that the pairing may bring."""
        return [
            HarmExpected(locus.key, harm, chance)
            for group in self.groups
            for locus in group.loci
            for harm in locus.harm
            if (
                chance := sum(
                    p for one, p in self.genotypes(locus.key).items() if one in harm.genotypes
                )
            )
            > 0
        ]

    def group(self, key: str) -> Group:
        """The loci that a locus is inherited with. Raises KeyError."""
        for group in self.groups:
            if any(one.key == key for one in group.loci):
                return group
        raise KeyError(key)

    def _kinds(self, group: Group) -> list[tuple[Kind, float]]:
        return [(kind, p * cross.chance) for cross in group.crosses for kind, p in cross.young]


def mean_young(clutch: ClutchSizes) -> float:
    """How many eggs, or young born, one clutch has on average."""
    return sum(n * p for n, p in clutch.items())


def at_least(k: int, chance: float, clutch: ClutchSizes) -> float:
    """The chance of k or more, each egg by itself bringing one with ``chance``."""
    return sum(
        share * (1 - sum(_exactly(m, n, chance) for m in range(min(k, n + 1))))
        for n, share in clutch.items()
    )


def _exactly(k: int, n: int, p: float) -> float:
    """The binomial chance of k among n; by logarithms, because n may be large."""
    if not 0 < p < 1:
        return float(k == (n if p >= 1 else 0))
    ways = lgamma(n + 1) - lgamma(k + 1) - lgamma(n - k + 1)
    return exp(ways + k * log(p) + (n - k) * log1p(-p))


def cross(karyotype: Karyotype, sire: Diplotype, dam: Diplotype) -> tuple[tuple[Kind, float], ...]:
    """Young of two parents in known states, those that do not live among them."""
    keys = [one.key for one in karyotype.linked.loci]
    found: dict[Diplotype, float] = {}
    for (sperm, p), (egg, q) in product(
        karyotype.gametes(sire).items(), karyotype.gametes(dam).items()
    ):
        state = karyotype.unite(egg, sperm)
        if state is None:
            raise ValueError("a sire and a dam of one sex")
        found[state] = found.get(state, 0.0) + p * q
    return tuple(
        (
            Kind(
                state.male,
                dict(zip(keys, karyotype.genotypes(state), strict=True)),
                karyotype.is_lethal(state),
            ),
            p,
        )
        for state, p in found.items()
    )


def pair_chance(male: float, other_male: float) -> float:
    """The chance that two animals, each male with that chance, are one male and one female."""
    return male * (1 - other_male) + other_male * (1 - male)


def _of_group(group: Group, wanted: WantedYoung) -> dict[float, float]:
    named = {one.key: one for one in group.loci}
    return _summed(
        (sum(p for kind, p in one.young if _is_wanted(kind, wanted, named)), one.chance)
        for one in group.crosses
    )


def _is_wanted(kind: Kind, wanted: WantedYoung, loci: Mapping[str, Locus]) -> bool:
    if kind.lost or (None not in (wanted.male, kind.male) and kind.male != wanted.male):
        return False
    return all(
        (key not in wanted.looks or at.look(kind.genotypes[key]).key in wanted.looks[key])
        and (key not in wanted.genotypes or kind.genotypes[key] in wanted.genotypes[key])
        for key, at in loci.items()
    )


def _joined(kinds: Sequence[Kind]) -> Kind:
    sexes = [one.male for one in kinds if one.male is not None]
    genotypes = {key: value for one in kinds for key, value in one.genotypes.items()}
    return Kind(sexes[0] if sexes else None, genotypes, any(one.lost for one in kinds))


def _times(some: Mapping[float, float], others: Mapping[float, float]) -> dict[float, float]:
    return _summed(
        (p * q, weight * other) for p, weight in some.items() for q, other in others.items()
    )


def _summed(pairs: Iterable[tuple[K, float]]) -> dict[K, float]:
    found: dict[K, float] = {}
    for key, p in pairs:
        found[key] = found.get(key, 0.0) + p
    return found
