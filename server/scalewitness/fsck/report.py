"""What was found to differ, store by store."""

import msgspec


class Difference(msgspec.Struct, frozen=True):
    """``position``: the entry it is about; None where no entry speaks of it."""

    store: str
    position: int | None
    what: str

    def __str__(self) -> str:
        where = "no position" if self.position is None else f"position {self.position}"
        return f"{where}: {self.store}: {self.what}"

    def place(self) -> float:
        return float("inf") if self.position is None else self.position


class Found(msgspec.Struct):
    """Of one store: the first difference by position, and how many there are."""

    first: Difference
    count: int = 1


class Report(msgspec.Struct):
    """Differences by store. It stays small, however many there are."""

    stores: dict[str, Found] = msgspec.field(default_factory=dict)

    def note(self, one: Difference) -> None:
        found = self.stores.get(one.store)
        if found is None:
            self.stores[one.store] = Found(one)
            return
        found.count += 1
        if one.place() < found.first.place():
            found.first = one

    def firsts(self) -> list[Difference]:
        """The first difference of each store, by position; equal ones as they were found."""
        return sorted((found.first for found in self.stores.values()), key=Difference.place)
