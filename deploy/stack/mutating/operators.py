"""Operators besides Cosmic Ray's: what queries, letters and tables are made of can go missing."""

from collections.abc import Iterator
from typing import Any

import parso
from cosmic_ray.operators.operator import Operator

Position = tuple[tuple[int, int], tuple[int, int]]


class DropArgument(Operator):  # type: ignore[misc]
    """A call loses one of its named arguments: a filter one of its conditions."""

    def mutation_positions(self, node: Any) -> Iterator[Position]:
        if node.type == "arglist":
            yield from ((one.start_pos, one.end_pos) for one in _named(node))

    def mutate(self, node: Any, index: int) -> Any:
        at = node.children.index(_named(node)[index])
        del node.children[at : at + 2]
        return node

    @classmethod
    def examples(cls) -> tuple[()]:
        return ()


def _named(node: Any) -> list[Any]:
    return [one for one in node.children if one.type == "argument" and one.children[1] == "="]


class DropItem(Operator):  # type: ignore[misc]
    """A set, list or tuple loses one of its members."""

    def mutation_positions(self, node: Any) -> Iterator[Position]:
        if node.type in {"testlist_comp", "dictorsetmaker"} and ":" not in node.children:
            yield from ((one.start_pos, one.end_pos) for one in _members(node))

    def mutate(self, node: Any, index: int) -> Any:
        at = node.children.index(_members(node)[index])
        del node.children[at : at + 2]
        return node

    @classmethod
    def examples(cls) -> tuple[()]:
        return ()


def _members(node: Any) -> list[Any]:
    """Of what has commas; a comprehension has none."""
    if "," not in node.children or len(node.children) < 3:
        return []
    return [one for one in node.children if one != ","]


class DropStatement(Operator):  # type: ignore[misc]
    """A call made for what it does is not made; an error is not raised."""

    def mutation_positions(self, node: Any) -> Iterator[Position]:
        if node.type == "simple_stmt" and _does(node.children[0]):
            yield node.children[0].start_pos, node.children[0].end_pos

    def mutate(self, node: Any, index: int) -> Any:
        first = node.children[0]
        prefix = first.get_first_leaf().prefix
        node.children[0] = parso.parse(f"{prefix}pass")  # type: ignore[no-untyped-call]
        return node

    @classmethod
    def examples(cls) -> tuple[()]:
        return ()


def _does(node: Any) -> bool:
    if node.type == "raise_stmt":
        return True
    return bool(node.type == "atom_expr" and node.children[-1].type == "trailer")


OURS = {f"ours/{one.__name__}": one for one in (DropArgument, DropItem, DropStatement)}
