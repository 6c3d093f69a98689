"""A planned visit as its host arranges it: in another order, without some animals. It stands in the
address, and is the host's alone: a guest's sheet goes by codes, as any other order would tell."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeVar

from django.http import QueryDict


class OfAnAnimal(Protocol):
    @property
    def animal(self) -> str: ...


Line = TypeVar("Line", bound=OfAnAnimal)


@dataclass(frozen=True, slots=True)
class Moves:
    """Addresses that change one thing: a place up or down, empty at an end, or left out."""

    up: str
    down: str
    skip: str


@dataclass(frozen=True, slots=True)
class Arranged:
    """``asked``: the address's query."""

    asked: QueryDict

    @property
    def skipped(self) -> list[str]:
        return list(dict.fromkeys(self.asked.getlist("skip")))

    @property
    def kept(self) -> list[tuple[str, str]]:
        """What a form on the page sends along."""
        return [(name, one) for name in ("order", "skip") for one in self.asked.getlist(name)]

    def in_order(self, lines: Iterable[Line]) -> list[Line]:
        """As arranged; what is not, stays behind in the order it had."""
        places = {animal: place for place, animal in enumerate(self.asked.getlist("order"))}
        return sorted(lines, key=lambda one: places.get(one.animal, len(places)))

    def moves(self, order: Sequence[str]) -> list[Moves]:
        """For each animal of the plan."""
        last = len(order) - 1
        return [
            Moves(
                self._ordered(_swapped(order, nth, nth - 1)) if nth else "",
                self._ordered(_swapped(order, nth, nth + 1)) if nth < last else "",
                self._but(skip=[*self.skipped, animal]),
            )
            for nth, animal in enumerate(order)
        ]

    def back(self, animal: str) -> str:
        """The address with that animal in the plan again."""
        return self._but(skip=[one for one in self.skipped if one != animal])

    def without_order(self) -> str:
        """The address to which a dragged order is added."""
        return self._but(order=[])

    def _ordered(self, order: Sequence[str]) -> str:
        return self._but(order=order)

    def _but(self, **lists: Sequence[str]) -> str:
        asked = self.asked.copy()
        for name, values in lists.items():
            asked.setlist(name, list(values))
        return f"?{asked.urlencode()}#planned"


def _swapped(order: Sequence[str], one: int, other: int) -> list[str]:
    found = list(order)
    found[one], found[other] = found[other], found[one]
    return found
