"""Chances of every unknown by two passes over a tree of tables; the same sums for any tables."""

from collections.abc import Mapping, Sequence
from typing import Generic

from scalewitness.domain.genetics.elimination import Scope, Tree
from scalewitness.domain.genetics.tables import T, Tables


class Contradiction(ValueError):
    """What is known cannot all be true: no genotypes fit it."""


class Summed(Generic[T]):
    """A tree whose tables have taken in everything that is known."""

    def __init__(
        self, shape: Tree, sizes: Sequence[int], tables: Tables[T], beliefs: Mapping[int, T]
    ) -> None:
        self.tree, self.sizes, self._tables, self._beliefs = shape, sizes, tables, beliefs

    def chances(self, unknown: int) -> list[list[float]]:
        """Of each of its states, a list for each network. Raises Contradiction."""
        return self.joint((unknown,))

    def joint(self, unknowns: Scope) -> list[list[float]]:
        """Of each combination of unknowns that share a table, flat, in the order of
        elimination. Raises Contradiction."""
        kept = self.tree.in_order(unknowns)
        at = kept[0]  # its table has all that share one with it and go later
        scope = self.tree.buckets[at].scope
        table = self._tables.onto(self._beliefs[at], scope, _of(self.sizes, scope), kept)
        return [_normal(row) for row in self._tables.rows(table)]

    def table(self, unknown: int, network: int) -> list[float]:
        """Of an unknown and those that share its table, in one network. Raises Contradiction."""
        rows = self._tables.rows(self._beliefs[unknown])
        return _normal(rows[network % len(rows)])


def settle(
    shape: Tree,
    sizes: Sequence[int],
    factors: Sequence[tuple[Scope, T]],
    tables: Tables[T],
) -> Summed[T]:
    """Take in all factors: inwards in the order of elimination, then back outwards."""
    own = [_aligned(scope, table, shape, sizes, tables) for scope, table in factors]
    products: dict[int, T] = {}
    sums: dict[int, T] = {}
    for one in shape.order:
        bucket = shape.buckets[one]
        parts = [own[n] for n in bucket.factors]
        parts += [(sums[child], shape.buckets[child].scope[1:]) for child in bucket.children]
        within = _of(sizes, bucket.scope)
        products[one] = tables.product(parts, bucket.scope, within)
        sums[one] = tables.onto(products[one], bucket.scope, within, bucket.scope[1:])
    for one in reversed(shape.order):
        bucket = shape.buckets[one]
        if bucket.parent is not None:
            above = shape.buckets[bucket.parent].scope
            news = tables.onto(products[bucket.parent], above, _of(sizes, above), bucket.scope[1:])
            products[one] = tables.renewed(
                products[one], news, sums[one], bucket.scope, _of(sizes, bucket.scope)
            )
    return Summed(shape, sizes, tables, products)


def _aligned(
    scope: Scope, table: T, shape: Tree, sizes: Sequence[int], tables: Tables[T]
) -> tuple[T, Scope]:
    ordered = shape.in_order(scope)
    if ordered != scope:
        axes = [scope.index(one) for one in ordered]
        table = tables.reordered(table, _of(sizes, scope), axes)
    return table, ordered


def _of(sizes: Sequence[int], scope: Scope) -> list[int]:
    return [sizes[one] for one in scope]


def _normal(row: list[float]) -> list[float]:
    whole = sum(row)
    if not whole > 0:
        raise Contradiction("no genotypes fit what is known")
    return [p / whole for p in row]
