"""A client of the feed: pulls it to its end, and keeps what it is told and nothing else."""

from dataclasses import dataclass, field
from typing import Any

from tests.api.client import Api


def pull(api: Api, cursor: str | None = None, **query: Any) -> tuple[list[Any], str]:
    """Everything from a cursor on, however many answers it takes."""
    items: list[Any] = []
    for _ in range(500):
        asked = {**query, **({"cursor": cursor} if cursor else {})}
        answer = api.get("/changes", **asked)
        assert answer.status == 200, answer
        assert len(answer.body["items"]) <= query.get("limit", 100)
        items += answer.body["items"]
        cursor = answer.body["cursor"]
        if not answer.body["more"]:
            return items, str(cursor)
    raise AssertionError("a feed without an end")


def told(items: list[Any]) -> list[str]:
    """The items in few words."""
    return [
        one["entry"]["kind"] if one["type"] == "fact" else
        f"{one['type']} {one['animal']['sight']}" if one["type"] == "snapshot" else
        one["type"]
        for one in items
    ]  # fmt: skip


@dataclass
class Replica:
    """What a client has after applying the feed, item by item."""

    keeper: str
    cursor: str | None = None
    animals: dict[str, Any] = field(default_factory=dict)
    facts: dict[int, Any] = field(default_factory=dict)
    collections: dict[str, Any] = field(default_factory=dict)
    profile: Any = None

    def take(self, item: Any) -> None:
        getattr(self, f"_{item['type']}")(item)

    def facts_about(self, animal: str) -> list[str]:
        found = sorted(self.facts.items())
        return [one["entry"]["id"] for _, one in found if one["entry"]["about"] == animal]

    def _forget(self, animal: str) -> None:
        self.animals.pop(animal, None)
        self.facts = {
            at: one
            for at, one in self.facts.items()
            if one["entry"]["about"] != animal or one["entry"]["by"] == self.keeper
        }

    def _snapshot(self, item: Any) -> None:
        animal = item["animal"]
        self._forget(animal["id"])
        self.animals[animal["id"]] = animal
        for one in item["facts"]:
            self._fact(one)

    def _purge(self, item: Any) -> None:
        if "animal" in item:
            self._forget(item["animal"])
        else:
            self.collections.pop(item["collection"], None)

    def _fact(self, item: Any) -> None:
        self.facts[item["position"]] = item
        if "animal" in item:
            self._animal(item)

    def _animal(self, item: Any) -> None:
        self.animals[item["animal"]["id"]] = item["animal"]

    def _collection(self, item: Any) -> None:
        found = item["collection"]
        self.collections[found["id"]] = found
        for one in self.animals.values():
            if one["sight"] == "all" and one["collection"]["id"] == found["id"]:
                one["collection"]["name"] = found["name"]

    def _profile(self, item: Any) -> None:
        self.profile = item["profile"]
