"""Tables of chances in arrays, many loci at once. Only the worker imports this module."""

from collections.abc import Sequence
from math import prod

import numpy as np
from numpy.typing import NDArray

from scalewitness.domain.genetics.elimination import Scope

Array = NDArray[np.float64]
"""A network along the first axis, or one for all; then the unknowns of the scope."""


class Arrays:
    """As :class:`tables.Plain`, in batches."""

    most_at_once = 64
    most_entries = 10_000_000

    def given(self, values: Sequence[Sequence[float]], sizes: Sequence[int]) -> Array:
        return np.array(values, dtype=np.float64).reshape(len(values), *sizes)

    def reordered(self, table: Array, sizes: Sequence[int], axes: Sequence[int]) -> Array:
        return table.transpose(0, *(n + 1 for n in axes))

    def product(
        self, parts: Sequence[tuple[Array, Scope]], scope: Scope, sizes: Sequence[int]
    ) -> Array:
        found: Array = np.ones((1,) * (len(scope) + 1))
        for n, (table, own) in enumerate(sorted(parts, key=lambda part: part[0].size)):
            shape = [size if one in own else 1 for one, size in zip(scope, sizes, strict=True)]
            found = found * table.reshape(len(table), *shape)
            if n % 8 == 7:
                found = _scaled(found)
        whole = _scaled(found)
        return np.broadcast_to(whole, (len(whole), *sizes))

    def onto(self, table: Array, scope: Scope, sizes: Sequence[int], kept: Scope) -> Array:
        gone = tuple(n + 1 for n, one in enumerate(scope) if one not in kept)
        found: Array = table.sum(axis=gone)
        return found

    def renewed(
        self, table: Array, new: Array, old: Array, scope: Scope, sizes: Sequence[int]
    ) -> Array:
        ratio = np.divide(
            new, old, out=np.zeros(np.broadcast_shapes(new.shape, old.shape)), where=old > 0
        )
        return _scaled(table * ratio[:, None])

    def rows(self, table: Array) -> list[list[float]]:
        found: list[list[float]] = table.reshape(len(table), prod(table.shape[1:])).tolist()
        return found


ARRAYS = Arrays()


def _scaled(table: Array) -> Array:
    whole = table.sum(axis=tuple(range(1, table.ndim)), keepdims=True)
    return table / np.where(whole > 0, whole, 1.0)
