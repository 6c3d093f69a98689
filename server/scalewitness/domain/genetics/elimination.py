"""The order in which unknowns are summed out, and the tree of tables that it gives.

Bucket elimination (Dechter 1999) in an order of least fill: each unknown is summed out of the
product of all tables that name it. Read backwards, the same tree gives every unknown's chances.
"""

from collections.abc import Iterable, Sequence
from heapq import heapify, heappop, heappush
from math import prod

from msgspec import Struct

Scope = tuple[int, ...]
"""Unknowns by number, in the order in which they are summed out."""


class TooTangled(ValueError):
    """The tables would have more entries than there may be."""


class Bucket(Struct, frozen=True):
    """The table in which an unknown is summed out: ``scope`` begins with it. ``factors`` are the
    given ones that first meet here; ``children`` those whose sums arrive here, ``parent`` where
    its own sum goes, None at a root."""

    scope: Scope
    factors: tuple[int, ...]
    children: tuple[int, ...]
    parent: int | None


class Tree(Struct, frozen=True):
    """Buckets by unknown, and the order. ``entries``: in all tables together."""

    order: tuple[int, ...]
    place: tuple[int, ...]
    buckets: tuple[Bucket, ...]
    entries: int

    def in_order(self, unknowns: Iterable[int]) -> Scope:
        """These, in the order in which they are summed out."""
        return tuple(sorted(unknowns, key=self.place.__getitem__))


def tree(
    sizes: Sequence[int], scopes: Sequence[Iterable[int]], most: int, together: Sequence[Scope] = ()
) -> Tree:
    """The tree for factors with these scopes over unknowns with so many states each; unknowns in
    ``together`` share a table. Raises TooTangled for more than ``most`` entries in all tables."""
    order, cliques = _eliminated(sizes, [*scopes, *together], most)
    place = [0] * len(sizes)
    for n, one in enumerate(order):
        place[one] = n
    scope_of = {one: (one, *sorted(cliques[one], key=place.__getitem__)) for one in order}
    held: list[list[int]] = [[] for _ in sizes]
    for n, scope in enumerate(scopes):
        held[min(scope, key=place.__getitem__)].append(n)
    children: list[list[int]] = [[] for _ in sizes]
    for one in order:
        if len(scope_of[one]) > 1:
            children[scope_of[one][1]].append(one)
    return Tree(
        order=tuple(order),
        place=tuple(place),
        buckets=tuple(
            Bucket(
                scope_of[one],
                tuple(held[one]),
                tuple(children[one]),
                scope_of[one][1] if len(scope_of[one]) > 1 else None,
            )
            for one in range(len(sizes))
        ),
        entries=sum(prod(sizes[x] for x in scope) for scope in scope_of.values()),
    )


def _eliminated(
    sizes: Sequence[int], scopes: Sequence[Iterable[int]], most: int
) -> tuple[list[int], list[frozenset[int]]]:
    """An order of least fill, ties to the smaller table, with each unknown's neighbours when it
    goes. The fill of everyone touched is kept up to date, so nothing is counted twice."""
    near = _neighbours(len(sizes), scopes)
    fill = [_fill(one, near) for one in range(len(sizes))]
    waiting = [(fill[one], _weight(one, near, sizes), one) for one in range(len(sizes))]
    heapify(waiting)
    order: list[int] = []
    cliques: list[frozenset[int]] = [frozenset()] * len(sizes)
    gone = bytearray(len(sizes))
    entries = 0
    while waiting:
        expected, weight, one = heappop(waiting)
        if gone[one] or (expected, weight) != (fill[one], _weight(one, near, sizes)):
            continue
        gone[one] = 1
        order.append(one)
        cliques[one] = frozenset(near[one])
        entries += prod((sizes[other] for other in near[one]), start=sizes[one])
        if entries > most:
            raise TooTangled(f"more than {most} entries")
        for other in _remove(one, near, fill):
            heappush(waiting, (fill[other], _weight(other, near, sizes), other))
    return order, cliques


def _neighbours(count: int, scopes: Iterable[Iterable[int]]) -> list[set[int]]:
    near: list[set[int]] = [set() for _ in range(count)]
    for scope in scopes:
        members = set(scope)
        for one in members:
            near[one] |= members
    for one, others in enumerate(near):
        others.discard(one)
    return near


def _fill(one: int, near: Sequence[set[int]]) -> int:
    around = near[one]
    return sum(len(around - near[other]) - 1 for other in around) // 2


def _weight(one: int, near: Sequence[set[int]], sizes: Sequence[int]) -> int:
    return sizes[one] * len(near[one])


def _remove(one: int, near: Sequence[set[int]], fill: list[int]) -> set[int]:
    """Take an unknown out and join its neighbours; those whose fill changed."""
    around = near[one]
    touched = set(around)
    for other in around:
        fill[other] -= len(near[other] - around) - 1  # those that only it was apart from
        near[other].discard(one)
    for a in around:
        for b in around - near[a] - {a}:
            shared = near[a] & near[b]
            for c in shared:
                fill[c] -= 1
            touched |= shared
            fill[a] += len(near[a] - near[b])
            fill[b] += len(near[b] - near[a])
            near[a].add(b)
            near[b].add(a)
    return touched
