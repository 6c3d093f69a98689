"""The chances of an animal's state for what its possible parents are."""

from collections.abc import Mapping, Sequence
from itertools import product
from operator import mul
from typing import NamedTuple

from scalewitness.domain.genetics.chromosomes import Chromosome, Diplotype, Karyotype
from scalewitness.domain.genetics.pedigree import Member, with_unknown

Slot = int | None
"""Which of an animal's candidates, by number; None for an unknown animal."""


class Option(NamedTuple):
    """One way an animal may have come about, with its chance; ``sire`` is empty in one that has
    none."""

    chance: float
    dam: Slot
    sire: tuple[Slot, ...]
    homozygosity: float = 0.0


def options(member: Member, slots: Mapping[str, int]) -> tuple[Option, ...]:
    """Every sire with every dam, and no sire where that may be. Sums to 1."""
    alone = member.parthenogenesis
    chance = 0.0 if alone is None else alone.chance
    sires, dams = with_unknown(member.sires), with_unknown(member.dams)
    found = [
        Option(p * q * (1 - chance), _slot(dam, slots), (_slot(sire, slots),))
        for (sire, p), (dam, q) in product(sires.items(), dams.items())
        if chance < 1
    ]
    if alone is not None and chance > 0:
        found += [
            Option(chance * q, _slot(dam, slots), (), alone.homozygosity) for dam, q in dams.items()
        ]
    return tuple(found)


class Conceptions:
    """Tables of conception at linked loci; each is made once."""

    def __init__(self, karyotype: Karyotype) -> None:
        self.karyotype = karyotype
        self._tables: dict[tuple[tuple[Option, ...], int, bool], list[float]] = {}
        self._columns: dict[tuple[int | None, tuple[int | None, ...], float], list[float]] = {}

    def table(self, ways: tuple[Option, ...], candidates: int, chosen: bool) -> list[float]:
        """Flat over (young, candidates in order), the last fastest; the young's chances sum to 1
        for parents that can have living young. ``chosen``: over (young, option, candidates), for
        an option that is an unknown of its own."""
        key = (ways, candidates, chosen)
        if key not in self._tables:
            self._tables[key] = self._table(ways, candidates, chosen)
        return self._tables[key]

    def _table(self, ways: tuple[Option, ...], candidates: int, chosen: bool) -> list[float]:
        count = len(self.karyotype.states)
        at = list(product(range(count), repeat=candidates))
        each = [[self._column(way, states) for states in at] for way in ways]
        if chosen:
            columns = [column for row in each for column in row]
        else:
            shares = [way.chance for way in ways]
            columns = [_mixed(shares, row) for row in zip(*each, strict=True)]
        return [p for row in zip(*columns, strict=True) for p in row]

    def _column(self, way: Option, states: Sequence[int]) -> list[float]:
        dam = None if way.dam is None else states[way.dam]
        sire = tuple(None if slot is None else states[slot] for slot in way.sire)
        key = (dam, sire, way.homozygosity)
        if key not in self._columns:
            young = self._of_two(sire[0], dam) if sire else self._alone(dam, way.homozygosity)
            self._columns[key] = self._living(young)
        return self._columns[key]

    def _of_two(self, sire: int | None, dam: int | None) -> dict[Diplotype, float]:
        karyotype = self.karyotype
        sperms = self._gametes(sire, male=True)
        eggs = self._gametes(dam, male=False)
        found: dict[Diplotype, float] = {}
        for (sperm, p), (egg, q) in product(sperms.items(), eggs.items()):
            young = karyotype.unite(egg, sperm)
            if young is not None:
                found[young] = found.get(young, 0.0) + p * q
        return found

    def _gametes(self, parent: int | None, *, male: bool) -> Mapping[Chromosome, float]:
        karyotype = self.karyotype
        if parent is not None:
            state = karyotype.states[parent]
            if state.male in (None, male):
                return karyotype.gametes(state)
        return karyotype.unknown_gametes(male=male)

    def _alone(self, dam: int | None, homozygosity: float) -> dict[Diplotype, float]:
        karyotype = self.karyotype
        if dam is not None and karyotype.states[dam].male is not True:
            return karyotype.alone(karyotype.states[dam], homozygosity)
        found: dict[Diplotype, float] = {}
        for state, p in zip(karyotype.states, karyotype.founder(0.0), strict=True):
            if p > 0:
                for young, share in karyotype.alone(state, homozygosity).items():
                    found[young] = found.get(young, 0.0) + p * share
        return found

    def _living(self, young: Mapping[Diplotype, float]) -> list[float]:
        """An animal in a pedigree has lived, so those that do not are left out of account."""
        found = [young.get(state, 0.0) for state in self.karyotype.states]
        whole = sum(found)
        return [p / whole for p in found] if whole > 0 else found


def _mixed(shares: Sequence[float], columns: Sequence[Sequence[float]]) -> list[float]:
    if len(columns) == 1:
        return list(columns[0])
    return [sum(map(mul, shares, row)) for row in zip(*columns, strict=True)]


def _slot(candidate: str | None, slots: Mapping[str, int]) -> Slot:
    return None if candidate is None else slots[candidate]
