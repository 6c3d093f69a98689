"""Whatever happens and however a client pulls, it ends up with what the API shows.

Random histories: grants come and go, by word and by the clock, animals move, people call,
edit and correct; clients pull now and then, a page or all of it, and lose answers.
"""

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, TypeVar
from uuid import UUID

import pytest
from django.core.cache import cache
from django.db import transaction
from django.utils import timezone
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from tests.api.client import Api
from tests.api.feeding import Replica
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.calls.models import Call
from scalewitness.calls.queries.visibility import sights_of
from scalewitness.domain.errors import Refused
from scalewitness.domain.moments import rfc3339
from scalewitness.ledger.queries.entries import entries_about
from scalewitness.receipts.queries import readable

NAMES = ("odile", "pim", "greta", "stan")
OPERATIONS = (
    "register", "call", "own_call", "correct", "weigh", "edit", "rename",
    "let_in", "let_out", "visit", "open_visit", "cancel", "move", "wait",
    "pull", "pull", "page", "page", "lose",
)  # fmt: skip

Step = tuple[str, int]


@dataclass
class Room:
    """A world with a client for each person in it."""

    world: World = field(default_factory=lambda: World(now=timezone.now()))
    grants: list[str] = field(default_factory=list)
    visits: list[UUID] = field(default_factory=list)
    whole: set[UUID] = field(default_factory=set)
    """What the guest ever saw whole."""
    calls: set[UUID] = field(default_factory=set)

    def __post_init__(self) -> None:
        people = {name: getattr(self.world, name) for name in NAMES}
        self.apis = {name: Api(one) for name, one in people.items()}
        self.replicas = {name: Replica(str(one.pk)) for name, one in people.items()}
        self.shelf = create_collection(self.world.odile, new_id(), "Shelf", self.world.now)
        for tag in ("A", "B", "C"):
            self.world.animal(tag)

    def do(self, step: Step) -> None:
        name, number = step
        self.world.pass_time(seconds=1)
        before = sights_of(self.world.greta.pk, self._all(), self.world.now)
        self.whole |= {one for one, sight in before.items() if sight == "all"}
        with suppress(Refused):  # not every step makes sense after every other
            getattr(self, name)(number)
        blind = Call.objects.filter(by=self.world.greta.pk, blind=True)
        new = {one.animal_id for one in blind if one.pk not in self.calls}
        assert not new & self.whole, "a check by somebody who saw it whole before counts as blind"
        self.calls |= {one.pk for one in blind}

    def _animal(self, number: int) -> Animal:
        animals = list(Animal.objects.order_by("pk"))
        return animals[number % len(animals)]

    def _all(self) -> list[UUID]:
        return list(Animal.objects.values_list("pk", flat=True))

    def _who(self, number: int) -> str:
        return NAMES[number % len(NAMES)]

    # --- what happens -----------------------------------------------------------------

    def register(self, number: int) -> None:
        self.world.animal(f"N-{number}-{len(self.grants)}")

    def call(self, number: int) -> None:
        self.world.call(self.world.odile, self._animal(number), ("male", "female")[number % 2])

    def own_call(self, number: int) -> None:
        visit = self.visits[-1 - number % 2] if len(self.visits) > 1 else self.visits[0:1]
        if visit:
            one = visit if isinstance(visit, UUID) else visit[0]
            self.world.call(self.world.greta, self._animal(number), "male", visit=one)

    def correct(self, number: int) -> None:
        young, dam = self._animal(number), self._animal(number // 3 + 1)
        body = {"species": "python_regius", "dam": str(dam.pk)}
        self.world.say(self.world.odile, "particulars_corrected", young.pk, body)

    def weigh(self, number: int) -> None:
        noted = {"noted": {"type": "weight", "grams": str(100 + number)}}
        self.world.say(self.world.odile, "husbandry_noted", self._animal(number).pk, noted)

    def edit(self, number: int) -> None:
        animal = self._animal(number)
        fields = {"name": f"Name {number}"} if number % 2 else {"hold_off": number % 4 == 0}
        self.apis["odile"].patch(
            f"/animals/{animal.pk}", fields, {"If-Match": f'"v{animal.version}"'}
        )

    def rename(self, number: int) -> None:
        path = f"/collections/{self.world.collection.pk}"
        version = self.apis["odile"].get(path).headers["ETag"]
        self.apis["odile"].patch(path, {"name": f"Room {number}"}, {"If-Match": version})

    def let_in(self, number: int) -> None:
        who = (self.world.pim, self.world.stan, self.world.greta)[number // 3 % 3]
        body: dict[str, Any] = {"to": str(who.pk), "role": ("partner", "viewer")[number % 3 > 0]}
        if number % 5 == 0:
            body["until"] = rfc3339(self.world.now.replace(microsecond=0) + SECONDS_20)
        if number % 7 == 0:
            body |= {"animals": [str(self._animal(number).pk)], "role": "viewer"}
        given_ = self.world.say(self.world.odile, "grant_given", self.world.collection.pk, body)
        self.grants.append(str(given_.id))

    def let_out(self, number: int) -> None:
        if self.grants:
            body = {"grant": self.grants[number % len(self.grants)]}
            self.world.say(self.world.odile, "grant_revoked", self.world.collection.pk, body)

    def visit(self, number: int) -> None:
        animals = {self._animal(number), self._animal(number // 2)}
        self.visits.append(self.world.visit(self.world.greta, *animals, days=1))

    def open_visit(self, number: int) -> None:
        animal = self._animal(number)
        self.visits.append(self.world.visit(self.world.greta, animal, blind=False, days=2))

    def cancel(self, number: int) -> None:
        if self.visits:
            visit = self.visits[number % len(self.visits)]
            self.world.say(self.world.odile, "visit_cancelled", visit)

    def move(self, number: int) -> None:
        animal = self._animal(number)
        there = animal.collection_id == self.shelf.pk
        to = self.world.collection.pk if there else self.shelf.pk
        body = {"to": str(to), "why": "moved"}
        self.world.say(self.world.odile, "custody_changed", animal.pk, body)

    def wait(self, number: int) -> None:
        self.world.pass_time(seconds=(10, 90_000, 10, 700_000)[number % 4])

    # --- how clients pull -------------------------------------------------------------

    def pull(self, number: int) -> None:
        while self._page(self._who(number), (1, 3, 100)[number % 3]):
            pass

    def page(self, number: int) -> None:
        self._page(self._who(number), 1 + number % 3)

    def lose(self, number: int) -> None:
        """The answer never arrives."""
        self._ask(self._who(number), 2)

    def _page(self, name: str, limit: int) -> bool:
        replica, body = self.replicas[name], self._ask(name, limit)
        for item in body["items"]:
            self._check_open(self.apis[name], item, replica)
            replica.take(item)
        replica.cursor = body["cursor"]
        return bool(body["more"])

    def _ask(self, name: str, limit: int) -> Any:
        cursor = self.replicas[name].cursor
        query = {"limit": limit} | ({"cursor": cursor} if cursor else {})
        return self.apis[name].get("/changes", **query).body

    def _check_open(self, api: Api, item: Any, replica: Replica) -> None:
        """Nothing of another's call reaches somebody who may not see the animal whole."""
        facts = item["facts"] if item["type"] == "snapshot" else [item]
        for one in facts:
            entry = one.get("entry", {})
            if entry.get("kind") in {"call_made", "standing_changed"} and (
                entry["by"] != replica.keeper
            ):
                assert api.get(f"/animals/{entry['about']}").body.get("sight") == "all"

    # --- what must be so in the end ---------------------------------------------------

    def check(self, name: str) -> None:
        while self._page(name, 50):
            pass
        api, replica = self.apis[name], self.replicas[name]
        shown = {one["id"]: one for one in api.get("/animals", limit=200).body["items"]}
        assert replica.animals == shown, name
        assert replica.profile == api.get("/keepers/me").body
        held = {one["id"]: one["name"] for one in api.get("/collections").body["items"]}
        kept = replica.collections.items()
        assert {pk: one["name"] for pk, one in kept if one["role"] != "viewer"} == held, name
        for animal in Animal.objects.all():
            self._check_facts(replica, animal, shown.get(str(animal.pk), {}).get("sight"))

    def _check_facts(self, replica: Replica, animal: Animal, sight: str | None) -> None:
        entries = entries_about(animal.pk)
        own = {one.fact for one in entries if str(one.by) == replica.keeper}
        open_ones = readable(UUID(replica.keeper), entries, self.world.now)
        seen = {one.fact for one in entries if sight == "all" and one.position in open_ones}
        found = {UUID(one) for one in replica.facts_about(str(animal.pk))}
        assert found - own == seen - own
        assert found & own == own


SECONDS_20 = timedelta(seconds=20)


R = TypeVar("R", bound=Room)


@contextmanager
def in_a(kind: type[R], monkeypatch: pytest.MonkeyPatch) -> Iterator[R]:
    """A room by whose world's clock everything goes; nothing is left of it."""
    cache.clear()
    with transaction.atomic(), monkeypatch.context() as clock:
        room = kind()

        def now() -> datetime:
            return room.world.now

        clock.setattr(timezone, "now", now)
        yield room
        transaction.set_rollback(True)


@settings(
    max_examples=8,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],  # shrinking takes minutes
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(
    steps=st.lists(
        st.tuples(st.sampled_from(OPERATIONS), st.integers(0, 209)), min_size=4, max_size=20
    )
)
def test_a_replica_ends_up_as_the_api_shows(
    db: None, monkeypatch: pytest.MonkeyPatch, steps: list[Step]
) -> None:
    with in_a(Room, monkeypatch) as room:
        for step in steps:
            room.do(step)
        room.world.pass_time(seconds=1)
        for name in NAMES:
            room.check(name)
