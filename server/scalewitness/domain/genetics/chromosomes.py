"""What an animal's chromosomes can be at a locus or at several linked ones, and what it passes on.

One description serves ordinary chromosomes, sex chromosomes and linked loci: a chromosome
is the sex chromosome it is ("" on an ordinary one) with its alleles in order along it.
"""

from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from itertools import combinations_with_replacement, product
from math import prod
from typing import Literal, NamedTuple

from msgspec import Struct

from scalewitness.domain.genetics.crosses import System
from scalewitness.domain.genetics.traits import Genotype, Locus

Role = Literal["sire", "dam"]

ABSENT = "-"
"""In place of the alleles that a Y or a W does not carry."""


class Chromosome(NamedTuple):
    sex: str
    alleles: tuple[str, ...]


class Diplotype(NamedTuple):
    """An animal's two chromosomes; the X or Z first. ``male`` is None on ordinary ones."""

    one: Chromosome
    other: Chromosome
    male: bool | None


class Linked(Struct, frozen=True, eq=False):
    """Loci inherited together, one or several: of one chromosome, or of the sex
    chromosomes. ``r``: the recombination fraction between neighbours, one less than there are
    loci, ½ for those that only sex ties together."""

    loci: tuple[Locus, ...]
    r: tuple[float, ...] = ()

    @property
    def system(self) -> System | None:
        return self.loci[0].system


class Karyotype:
    """States of linked loci, in a fixed order, with gametes. ``states`` are those an animal can
    live in. Raises ValueError for loci that do not fit together."""

    def __init__(self, linked: Linked) -> None:
        _check(linked)
        self.linked = linked
        self._places = {
            alleles: n for n, alleles in enumerate(product(*(x.alleles for x in linked.loci)))
        }
        self._genotypes: dict[Diplotype, tuple[Genotype, ...]] = {}
        self._unknown: dict[bool, dict[Chromosome, float]] = {}
        self.states = tuple(one for one in _states(linked) if not self.is_lethal(one))
        self.index = {state: n for n, state in enumerate(self.states)}

    def genotypes(self, state: Diplotype) -> tuple[Genotype, ...]:
        """The state's genotype at each locus."""
        if state not in self._genotypes:
            self._genotypes[state] = self._of_state(state)
        return self._genotypes[state]

    def _of_state(self, state: Diplotype) -> tuple[Genotype, ...]:
        pairs = zip(self.linked.loci, state.one.alleles, state.other.alleles, strict=True)
        return tuple(
            (one,) if other == ABSENT else locus.genotype(one, other) for locus, one, other in pairs
        )

    @cached_property
    def by_locus(self) -> list[tuple[str, dict[Genotype, list[int]]]]:
        """At each locus, the numbers of the states of each genotype."""
        found = []
        for n, locus in enumerate(self.linked.loci):
            states: dict[Genotype, list[int]] = {}
            for state, at in self.index.items():
                states.setdefault(self.genotypes(state)[n], []).append(at)
            found.append((locus.key, states))
        return found

    def is_lethal(self, state: Diplotype) -> bool:
        """Whether an animal in that state does not live."""
        pairs = zip(self.linked.loci, self.genotypes(state), strict=True)
        return any(locus.lethal(genotype) for locus, genotype in pairs)

    def founder(self, male: float) -> list[float]:
        """The chance of each state in a living animal of unknown origin that is ``male`` with that
        chance, from its alleles' frequencies, the loci independent of each other. Sums to 1."""
        found = [self._founder(state, male) for state in self.states]
        whole = sum(found)
        return [p / whole for p in found]

    def gametes(self, state: Diplotype) -> dict[Chromosome, float]:
        """What it passes on, with chances that sum to 1."""
        if state.one.sex == state.other.sex:
            return _recombined(state.one, state.other, self.linked.r)
        return _parted(state, self.linked)

    def unite(self, egg: Chromosome, sperm: Chromosome) -> Diplotype | None:
        """The young of two gametes, alive or not; None where it would have neither X nor Z."""
        system = self.linked.system
        if system is not None and egg.sex != sperm.sex:
            one, other = sorted((egg, sperm), key=lambda c: system.index(c.sex))
            return Diplotype(one, other, system == "XY")
        if system is not None and egg.sex == system[1]:
            return None
        one, other = sorted((egg, sperm), key=lambda c: self._places[c.alleles])
        return Diplotype(one, other, None if system is None else system == "ZW")

    def unknown_gametes(self, *, male: bool) -> dict[Chromosome, float]:
        """What an unknown sire or dam passes on."""
        if male not in self._unknown:
            found: dict[Chromosome, float] = {}
            for state, p in zip(self.states, self.founder(float(male)), strict=True):
                _add(found, self.gametes(state), p)
            self._unknown[male] = found
        return self._unknown[male]

    def alone(self, dam: Diplotype, homozygosity: float) -> dict[Diplotype, float]:
        """Young of a dam without a sire, by :class:`pedigree.Parthenogenesis`, those that
        can live: chances that sum to 1, or nothing when none can."""
        found: dict[Diplotype, float] = {}
        doubled = [self.unite(one, one) for one in (dam.one, dam.other)]
        for young, p in [*((one, homozygosity / 2) for one in doubled), (dam, 1 - homozygosity)]:
            if young is not None and young in self.index and p > 0:
                found[young] = found.get(young, 0.0) + p
        whole = sum(found.values())
        return {young: p / whole for young, p in found.items()}

    def _founder(self, state: Diplotype, male: float) -> float:
        p = 1.0 if state.male is None else male if state.male else 1 - male
        for n, locus in enumerate(self.linked.loci):
            p *= locus.frequency(state.one.alleles[n])
            if state.other.alleles[n] != ABSENT:
                p *= locus.frequency(state.other.alleles[n])
        same = state.one == state.other or state.one.sex != state.other.sex
        return p if same else 2 * p


def grouped(loci: Iterable[Locus]) -> list[Linked]:
    """Loci of one species, those that are inherited together put together: neighbours by their
    fraction, loci of the sex chromosomes by sex."""
    waiting = {one.key: one for one in loci}
    found = []
    while waiting:
        chain = [waiting.pop(next(iter(waiting)))]
        fractions: list[float] = []
        while (near := _next(chain[-1], waiting)) is not None:
            chain.append(waiting.pop(near[0]))
            fractions.append(near[1])
        found.append(Linked(tuple(chain), tuple(fractions)))
    return found


def _next(last: Locus, waiting: Mapping[str, Locus]) -> tuple[str, float] | None:
    if last.neighbour is not None and last.neighbour.key in waiting:
        return last.neighbour.key, last.neighbour.r
    for key, one in waiting.items():
        if one.neighbour is not None and one.neighbour.key == last.key:
            return key, one.neighbour.r
        if last.system is not None and one.system is not None and last.hemizygous == one.hemizygous:
            return key, 0.5
    return None


def _check(linked: Linked) -> None:
    if len(linked.r) != len(linked.loci) - 1 or any(not 0 <= r <= 0.5 for r in linked.r):
        raise ValueError("a recombination fraction for each pair of neighbours")
    if len({(one.system, one.sex_linkage is None) for one in linked.loci}) > 1:
        raise ValueError("loci of sex chromosomes and of ordinary ones are not linked")


def _states(linked: Linked) -> Iterable[Diplotype]:
    alleles = list(product(*(locus.alleles for locus in linked.loci)))
    if linked.system is None:
        for one, other in combinations_with_replacement(alleles, 2):
            yield Diplotype(Chromosome("", one), Chromosome("", other), None)
        return
    like, unlike = linked.system
    males_differ = linked.system == "XY"
    for one, other in combinations_with_replacement(alleles, 2):
        yield Diplotype(Chromosome(like, one), Chromosome(like, other), not males_differ)
    carried = [(ABSENT,) * len(linked.loci)] if linked.loci[0].hemizygous else alleles
    for one, other in product(alleles, carried):
        yield Diplotype(Chromosome(like, one), Chromosome(unlike, other), males_differ)


def _recombined(one: Chromosome, other: Chromosome, r: Sequence[float]) -> dict[Chromosome, float]:
    """Every way along the chromosomes, changing over between neighbours with r."""
    found: dict[Chromosome, float] = {}
    pair = (one.alleles, other.alleles)
    for path in product((0, 1), repeat=len(one.alleles)):
        steps = zip(path, path[1:], r, strict=False)
        chance = 0.5 * prod(share if a != b else 1 - share for a, b, share in steps)
        alleles = tuple(pair[side][n] for n, side in enumerate(path))
        _add(found, {Chromosome(one.sex, alleles): 1.0}, chance)
    return found


def _parted(state: Diplotype, linked: Linked) -> dict[Chromosome, float]:
    """Gametes of the sex with two kinds of sex chromosome."""
    if linked.loci[0].hemizygous:
        return {state.one: 0.5, state.other: 0.5}
    to_sex = linked.loci[0].sex_linkage
    r = 0.0 if to_sex is None else to_sex.r
    found: dict[Chromosome, float] = {}
    pair = (state.one.alleles, state.other.alleles)
    for sex, chromosome in ((0, state.one.sex), (1, state.other.sex)):
        for path in product((0, 1), repeat=len(pair[0])):
            steps = zip((sex, *path), path, (r, *linked.r), strict=False)
            chance = 0.5 * prod(share if a != b else 1 - share for a, b, share in steps)
            alleles = tuple(pair[side][n] for n, side in enumerate(path))
            _add(found, {Chromosome(chromosome, alleles): 1.0}, chance)
    return found


def _add(found: dict[Chromosome, float], others: Mapping[Chromosome, float], share: float) -> None:
    for key, p in others.items():
        if p * share > 0:
            found[key] = found.get(key, 0.0) + p * share
