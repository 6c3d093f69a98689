"""What is asked in `overload.py`, which sets Django up before this is imported."""

import itertools
from collections.abc import Iterator
from uuid import UUID

from asking import Request
from cast import fresh_id, keeper
from django.conf import settings
from django.test import Client
from django.utils import timezone

from scalewitness.animals.services import create_collection
from scalewitness.domain.moments import rfc3339
from scalewitness.intake.batch import Actor
from scalewitness.intake.services import accept
from scalewitness.people.models import Keeper
from scalewitness.people.services import enrol_device

ANIMALS, DEVICES, BATCH = 40, 20, 25


class Mix:
    """A keeper's collection, and what is asked about it: of ten requests four are pages, three
    read by the API, two push a weight and one waits for a change."""

    def __init__(self) -> None:
        self._keeper = keeper("Odile Varga")
        now = timezone.now()
        self._collection = fresh_id()
        create_collection(self._keeper, self._collection, "Room", now)
        self._animals = [self._registered(f"B{number}") for number in range(ANIMALS)]
        names = (f"phone {number}" for number in range(DEVICES))
        self._tokens = [enrol_device(self._keeper, name, now)[1] for name in names]
        self._cookie = self._signed_in(self._keeper)

    def requests(self) -> Iterator[Request]:
        animals, tokens = itertools.cycle(self._animals), itertools.cycle(self._tokens)
        pushes = self.pushes(1)
        for animal in animals:
            token = next(tokens)
            yield self._page("/")
            yield self._read(f"animals/{animal}/standing", token)
            yield self._page(f"/animals/{animal}")
            yield next(pushes)
            yield self._read("animals?limit=50", token)
            yield self._page(f"/collections/{self._collection}")
            yield self._read("changes?limit=200", token)
            yield next(pushes)
            yield self._page("/animals")
            yield self._read("changes?wait=10", token)

    def pushes(self, items: int = BATCH) -> Iterator[Request]:
        """Each by the next device, of so many weights."""
        animals = itertools.cycle(self._animals)
        for token in itertools.cycle(self._tokens):
            body = {"items": [self._weight(next(animals)) for _ in range(items)]}
            yield Request("push", "POST", "/api/v1/push", _bearer(token), body)

    def _page(self, path: str) -> Request:
        return Request("page", "GET", path, [f"Cookie: {self._cookie}"])

    def _read(self, path: str, token: str) -> Request:
        waits = "wait=" in path
        return Request("api", "GET", f"/api/v1/{path}", _bearer(token), may_wait=waits)

    def _registered(self, tag: str) -> UUID:
        animal = fresh_id()
        body = {"collection": str(self._collection), "species": "python_regius"}
        items = [
            _envelope("animal_registered", animal, body),
            _envelope("identifier_assigned", animal, {"scheme": "tag", "code": tag}),
        ]
        accept(items, Actor(keeper=self._keeper.pk), timezone.now())
        return animal

    def _weight(self, animal: UUID) -> dict[str, object]:
        noted = {"noted": {"type": "weight", "grams": "1240"}}
        return _envelope("husbandry_noted", animal, noted)

    def _signed_in(self, who: Keeper) -> str:
        browser = Client()
        browser.force_login(who)
        name = settings.SESSION_COOKIE_NAME
        return f"{name}={browser.cookies[name].value}"


def _bearer(token: str) -> list[str]:
    return [f"Authorization: Bearer {token}"]


def _envelope(kind: str, about: UUID, body: dict[str, object]) -> dict[str, object]:
    sent = {"id": str(fresh_id()), "kind": kind, "at": rfc3339(timezone.now())}
    return {**sent, "about": str(about), "body": body}
