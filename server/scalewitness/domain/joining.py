"""Which records are of one snake, as the log tells it."""

from collections.abc import Hashable
from dataclasses import dataclass, field
from typing import Generic, TypeVar

T = TypeVar("T", bound=Hashable)


@dataclass(slots=True)
class JoinedRecords(Generic[T]):
    """Told of each fact in log order. What is agreed joins two records, until it is agreed that
    they be parted."""

    _proposed: dict[str, tuple[T, str | None]] = field(default_factory=dict)
    _pairs: dict[str, tuple[T, T]] = field(default_factory=dict)

    def propose(self, proposal: str, animal: T, parts: str | None = None) -> None:
        """``parts``: the proposal that would be undone."""
        self._proposed[proposal] = (animal, parts)

    def answer(self, proposal: str, other: T, *, agrees: bool) -> None:
        """What the other record's keeper says, or an arbiter for them."""
        if not agrees:
            return
        animal, parts = self._proposed[proposal]
        if parts is None:
            self._pairs[proposal] = (animal, other)
        else:
            self._pairs.pop(parts, None)

    def same_snake(self, animal: T) -> set[T]:
        """All records of the snake, this one among them."""
        found, new = {animal}, {animal} if self._pairs else set()
        while new:
            met = {one for pair in self._pairs.values() if not new.isdisjoint(pair) for one in pair}
            new = met - found
            found |= new
        return found
