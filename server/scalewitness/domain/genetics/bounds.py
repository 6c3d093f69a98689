"""Honest bounds where a pedigree is too tangled to be summed exactly.

An animal's relatives are taken as far as there is room. Given what the animals at the edge of that
neighbourhood carry, the rest of the pedigree says nothing more of it; so whatever they carry, its
chances lie between the least and the most over all they can.
"""

from collections import Counter
from collections.abc import Sequence
from math import prod

from msgspec import Struct

from scalewitness.domain.genetics.elimination import Scope, TooTangled, Tree, tree
from scalewitness.domain.genetics.networks import Network, Term
from scalewitness.domain.genetics.passing import settle
from scalewitness.domain.genetics.tables import T, Tables

ROOM = 60_000
"""Entries in all tables of one neighbourhood (our judgement: a fraction of a second an animal)."""


class Between(Struct, frozen=True):
    """The least and the most of each state's chance."""

    low: list[float]
    high: list[float]


def between(network: Network, unknown: int, tables: Tables[T]) -> list[Between]:
    """Bounds on an unknown, for each network of the batch. Raises Contradiction."""
    kept = _informative(network, unknown)
    near = _reached(kept, unknown)
    fits: _Region | None = None
    size = 4
    while True:
        inside = _region(network, kept, unknown, frozenset(near[:size]))
        if inside is None:
            break
        fits = inside if inside.asked else fits
        if size >= len(near):
            break
        size = size * 4 // 3
    if fits is None:
        states = network.sizes[unknown]
        return [Between([0.0] * states, [1.0] * states)]
    return _extremes_of(fits, tables)


def _informative(network: Network, unknown: int) -> list[Term]:
    """Tables without those of animals of which, or of whose young, nothing is known."""
    uses = Counter(one for table in network.tables for one in table.scope)
    kept = []
    for table in reversed(network.tables):  # young before their parents
        own = table.scope[0]
        if len(table.scope) > 1 and uses[own] == 1 and own != unknown:
            uses.subtract(table.scope)
        else:
            kept.append(table)
    return kept


def _reached(tables: Sequence[Term], unknown: int) -> list[int]:
    """Unknowns by their distance from this one."""
    scopes: dict[int, list[Scope]] = {}
    for table in tables:
        for one in table.scope:
            scopes.setdefault(one, []).append(table.scope)
    found = {unknown}
    reached = [unknown]
    for one in reached:  # grows while it is read
        for scope in scopes[one]:
            new = [other for other in scope if other not in found]
            found.update(new)
            reached.extend(new)
    return reached


class _Region(Struct):
    """A neighbourhood that there is room for. ``asked``: the unknown and those at the edge; empty
    while the unknown itself is at the edge, and nothing follows."""

    shape: Tree
    sizes: list[int]
    factors: list[tuple[Scope, Term]]
    asked: Scope


def _region(
    network: Network, kept: Sequence[Term], unknown: int, inside: frozenset[int]
) -> _Region | None:
    """None where there is no room."""
    whole = [one for one in kept if inside.issuperset(one.scope)]
    cut = {one for table in kept if not inside.issuperset(table.scope) for one in table.scope}
    edge = sorted(cut & inside)
    place = {one: n for n, one in enumerate(sorted(inside))}
    sizes = [network.sizes[one] for one in sorted(inside)]
    factors = [(tuple(place[one] for one in table.scope), table) for table in whole]
    asked = () if unknown in edge else tuple(place[one] for one in (unknown, *edge))
    try:
        shape = tree(sizes, [scope for scope, _ in factors], ROOM, [asked] if asked else [])
    except TooTangled:
        return None
    return _Region(shape, sizes, factors, asked)


def _extremes_of(region: _Region, tables: Tables[T]) -> list[Between]:
    sizes = region.sizes
    factors = [
        (scope, tables.given(table.values, [sizes[one] for one in scope]))
        for scope, table in region.factors
    ]
    settled = settle(region.shape, sizes, factors, tables)
    ordered = region.shape.in_order(region.asked)
    states = sizes[region.asked[0]]
    behind = prod(sizes[one] for one in ordered[ordered.index(region.asked[0]) + 1 :])
    return [_extremes(row, states, behind) for row in settled.joint(region.asked)]


def _extremes(row: Sequence[float], states: int, behind: int) -> Between:
    """Least and most chance of each state over everything the edge can be."""
    low, high = [1.0] * states, [0.0] * states
    for block in range(0, len(row), states * behind):
        for n in range(block, block + behind):
            column = row[n : n + states * behind : behind]
            total = sum(column)
            if total > 0:
                shares = [p / total for p in column]
                low = list(map(min, low, shares))
                high = list(map(max, high, shares))
    return Between(low, high)
