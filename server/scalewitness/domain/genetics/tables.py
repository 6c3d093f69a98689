"""Tables of chances, in plain Python: what a page computes with. ``arrays`` does the same for the
worker, many loci at once.

A table is laid out with the last unknown of its scope running fastest. Scopes are in the order
of elimination, so a smaller scope's unknowns stand in the same order in a larger one.
"""

from collections.abc import Sequence
from functools import lru_cache
from math import prod
from operator import mul
from typing import Protocol, TypeVar

from scalewitness.domain.genetics.elimination import Scope

T = TypeVar("T")


class Tables(Protocol[T]):
    """What the sums are done with. Batches: as many networks of one shape as are given at once."""

    most_at_once: int
    """Networks in one batch."""
    most_entries: int
    """In all tables of one network together; beyond that there are only bounds."""

    def given(self, values: Sequence[Sequence[float]], sizes: Sequence[int]) -> T:
        """A table from flat values, one list for each network or one for all of them."""

    def reordered(self, table: T, sizes: Sequence[int], axes: Sequence[int]) -> T:
        """The same with its unknowns in another order: the first is now what was axes[0]."""

    def product(self, parts: Sequence[tuple[T, Scope]], scope: Scope, sizes: Sequence[int]) -> T:
        """Their product over ``scope``, which holds all of theirs; each network's sum is 1, or 0
        where nothing is possible."""

    def onto(self, table: T, scope: Scope, sizes: Sequence[int], kept: Scope) -> T:
        """Summed over what is not kept."""

    def renewed(self, table: T, new: T, old: T, scope: Scope, sizes: Sequence[int]) -> T:
        """The table of ``scope`` times new/old, which are over all of it but the first; 0 where
        old is."""

    def rows(self, table: T) -> list[list[float]]:
        """Flat values, a list for each network."""


class Plain:
    """One network at a time, tables as lists."""

    most_at_once = 1
    most_entries = 300_000  # about a second

    def given(self, values: Sequence[Sequence[float]], sizes: Sequence[int]) -> list[float]:
        (only,) = values
        return list(only)

    def reordered(
        self, table: list[float], sizes: Sequence[int], axes: Sequence[int]
    ) -> list[float]:
        steps = _steps(sizes)
        places = _places(tuple(sizes[n] for n in axes), tuple(steps[n] for n in axes))
        return [table[n] for n in places]

    def product(
        self,
        parts: Sequence[tuple[list[float], Scope]],
        scope: Scope,
        sizes: Sequence[int],
    ) -> list[float]:
        found = [1.0] * prod(sizes)
        for n, (table, own) in enumerate(parts):
            spread = [table[place] for place in _within(scope, tuple(sizes), own)]
            found = list(map(mul, found, spread))
            if n % 8 == 7:
                found = _scaled(found)
        return _scaled(found)

    def onto(
        self, table: list[float], scope: Scope, sizes: Sequence[int], kept: Scope
    ) -> list[float]:
        if kept == scope[1:]:  # whole blocks, one after the other
            length = len(table) // sizes[0]
            blocks = [table[n : n + length] for n in range(0, len(table), length)]
            return list(map(sum, zip(*blocks, strict=True)))
        found = [0.0] * prod(size for one, size in zip(scope, sizes, strict=True) if one in kept)
        for place, value in zip(_within(scope, tuple(sizes), kept), table, strict=True):
            found[place] += value
        return found

    def renewed(
        self,
        table: list[float],
        new: list[float],
        old: list[float],
        scope: Scope,
        sizes: Sequence[int],
    ) -> list[float]:
        ratio = [a / b if b > 0 else 0.0 for a, b in zip(new, old, strict=True)]
        return _scaled(list(map(mul, table, ratio * sizes[0])))

    def rows(self, table: list[float]) -> list[list[float]]:
        return [table]


PLAIN = Plain()


def _scaled(table: list[float]) -> list[float]:
    whole = sum(table)
    return [value / whole for value in table] if whole > 0 else table


def _within(scope: Scope, sizes: tuple[int, ...], own: Scope) -> tuple[int, ...]:
    """For every place in a table over ``scope``, the place in one over ``own`` of it."""
    own_steps = _steps([size for one, size in zip(scope, sizes, strict=True) if one in own])
    steps = iter(own_steps)
    return _places(sizes, tuple(next(steps) if one in own else 0 for one in scope))


def _steps(sizes: Sequence[int]) -> list[int]:
    return [prod(sizes[n + 1 :]) for n in range(len(sizes))]


@lru_cache(maxsize=4096)
def _places(sizes: tuple[int, ...], steps: tuple[int, ...]) -> tuple[int, ...]:
    found = [0]
    for size, step in zip(sizes, steps, strict=True):
        found = [place + n * step for place in found for n in range(size)]
    return tuple(found)
