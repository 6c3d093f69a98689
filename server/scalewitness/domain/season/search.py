"""A good plan found step by step: always the change that brings most, until none brings more."""

from collections.abc import Sequence

import numpy as np

from scalewitness.domain.season.options import Array, Options, Whole, aimed_at

_ALIKE = 1e-9
"""Values no further apart are the same: rounding must not decide."""


class Search:
    """Plans as sorted numbers of pairings. ``caution`` as of the limits; ``costs`` what each
    pairing costs by itself; ``kept`` are never dropped."""

    def __init__(
        self, options: Options, caution: float, costs: Array, kept: Sequence[int] = ()
    ) -> None:
        self.options = options
        self.caution = caution
        self.costs = costs
        self.kept = frozenset(kept)
        self.dams = np.array([pair.dam for pair in options.pairs])
        self.sires = np.array([pair.sire for pair in options.pairs])

    def value(self, plan: Sequence[int]) -> float:
        """What is aimed at, less the costs."""
        if not plan:
            return 0.0
        found = aimed_at(self.options.values(plan), self.caution)
        return float(found) - float(self.costs[list(plan)].sum())

    def improved(self, plan: Sequence[int]) -> list[int]:
        """From that plan on: pairings added, each dam's changed, and two dams' sires exchanged."""
        found = self._filled(sorted(plan))
        while True:
            before = self.value(found)
            for dam in sorted({*self.dams.tolist()}):
                found = self._filled(self._moved(found, dam))
            found = self._exchanged(found)
            if self.value(found) <= before + _ALIKE:
                return found

    def mended(self, plan: Sequence[int], dams: Sequence[str]) -> list[int]:
        """From that plan on: pairings added, and those of these dams changed."""
        found = self._filled(sorted(plan))
        for dam in dams:
            found = self._filled(self._moved(found, dam))
        return found

    def one_change(self, plan: Sequence[int]) -> list[int] | None:
        """The plan with the one change that brings most: a pairing made, or a dam's changed. None
        where no change brings what it must."""
        now, value = list(plan), self.value(plan)
        best, its_value = self._best(now, np.flatnonzero(self.options.rules.has_room(now)))
        options = [(value, now)]
        if best is not None:
            options.append((its_value, sorted([*now, best])))
        for gone in set(now) - self.kept:
            rest = [n for n in now if n != gone]
            same = self.dams == self.dams[gone]
            best, its_value = self._best(
                rest, np.flatnonzero(self.options.rules.has_room(rest) & same)
            )
            if best is not None:
                options.append((its_value, sorted([*rest, best])))
        found = self._first_best(options)
        return None if found == now else found

    def forced(self, plan: Sequence[int], pairing: int) -> list[int] | None:
        """The plan with that pairing, without as few and as little worth as leave it room, and
        with what then fits; None where what is kept leaves no room."""
        rest = list(plan)
        while not self.options.rules.has_room(rest)[pairing]:
            in_the_way = self._in_the_way(rest, pairing)
            if not in_the_way:
                return None
            fewer = [(self.value([n for n in rest if n != one]), -one) for one in in_the_way]
            rest.remove(-max(fewer)[1])
        search = Search(self.options, self.caution, self.costs, [*self.kept, pairing])
        return search._filled(sorted([*rest, pairing]))

    def _in_the_way(self, plan: Sequence[int], pairing: int) -> list[int]:
        """What takes up room that the pairing lacks."""
        rules = self.options.rules
        used = rules.uses[:, list(plan)].sum(axis=1)
        short = used + rules.uses[:, pairing] > rules.room
        return [n for n in plan if n not in self.kept and (rules.uses[short, n] > 0).any()]

    def _filled(self, plan: list[int]) -> list[int]:
        while True:
            best, value = self._best(plan, np.flatnonzero(self.options.rules.has_room(plan)))
            if best is None or value <= self.value(plan) + _ALIKE:
                return plan
            plan = sorted([*plan, best])

    def _best(self, plan: list[int], more: Whole) -> tuple[int | None, float]:
        """The first of those worth most."""
        if more.size == 0:
            return None, 0.0
        values = aimed_at(self.options.values_with(plan, more), self.caution)
        values = values - self.costs[more] - self.costs[plan].sum()
        at = int(np.flatnonzero(values >= values.max() - _ALIKE)[0])
        return int(more[at]), float(values[at])

    def _moved(self, plan: list[int], dam: str) -> list[int]:
        """The dam with the sire, or as the sire of the dam, with whom she brings most, in place of
        the pairing that she has."""
        own = [n for n in plan if self.dams[n] == dam and n not in self.kept]
        rest = [n for n in plan if n not in own]
        if not own:
            return self._displacing(plan, dam)
        more = np.flatnonzero(self.options.rules.has_room(rest) & (self.dams == dam))
        best, value = self._best(rest, more)
        options = [(self.value(plan), plan), (self.value(rest), rest)]
        if best is not None:
            options.append((value, sorted([*rest, best])))
        return self._first_best(options)

    def _displacing(self, plan: list[int], dam: str) -> list[int]:
        """A dam without a mate in the place of another one with the same sire."""
        options = [(self.value(plan), plan)]
        for gone in plan:
            if gone in self.kept:
                continue
            rest = [n for n in plan if n != gone]
            mine = (self.dams == dam) & (self.sires == self.sires[gone])
            more = np.flatnonzero(self.options.rules.has_room(rest) & mine)
            best, value = self._best(rest, more)
            if best is not None:
                options.append((value, sorted([*rest, best])))
        return self._first_best(options)

    def _exchanged(self, plan: list[int]) -> list[int]:
        """Two pairings with their sires exchanged, where that brings most."""
        at = {(self.sires[n], self.dams[n]): n for n in range(len(self.sires))}
        options = [(self.value(plan), plan)]
        for place, one in enumerate(plan):
            for other in plan[place + 1 :]:
                first = at.get((self.sires[one], self.dams[other]))
                second = at.get((self.sires[other], self.dams[one]))
                if first is None or second is None or {one, other} & self.kept:
                    continue
                new = sorted({*plan, first, second} - {one, other})
                if self.sires[one] != self.sires[other]:
                    options.append((self.value(new), new))
        return self._first_best(options)

    def _first_best(self, options: Sequence[tuple[float, list[int]]]) -> list[int]:
        best = max(value for value, _ in options)
        return next(plan for value, plan in options if value >= best - _ALIKE)
