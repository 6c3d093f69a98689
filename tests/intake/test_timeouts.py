"""How long a push waits, and for whom it is not gone on with."""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from threading import Event
from time import sleep
from typing import Any
from uuid import UUID

import pytest
from tests.waiting import ENOUGH
from tests.world import World

from scalewitness.domain.errors import Busy
from scalewitness.intake import services
from scalewitness.intake.batch import Actor
from scalewitness.intake.services import TURNS, accept
from scalewitness.ledger.models import Entry
from scalewitness.waiting import answering

SOMEBODY_ELSE = UUID(int=1)


class Sender:
    """Has waited so long by each look at it; the last of them holds for ever."""

    def __init__(self, *waited: float, gone: bool = False) -> None:
        self._waited, self._gone = list(waited), gone

    def waited(self) -> float:
        return self._waited.pop(0) if len(self._waited) > 1 else self._waited[0]

    def is_gone(self) -> bool:
        return self._gone


@contextmanager
def others_at_it() -> Iterator[None]:
    """Somebody always has the turn or waits for it, and gets on."""
    at_it, over = Event(), Event()

    def write() -> None:
        while not over.is_set():
            TURNS.take(SOMEBODY_ELSE, timeout=ENOUGH)
            at_it.set()
            sleep(0.05)
            TURNS.leave()

    with ThreadPoolExecutor(2) as threads:
        for _ in range(2):
            threads.submit(write)
        assert at_it.wait(ENOUGH)
        try:
            yield
        finally:
            over.set()


def weights(world: World, count: int) -> list[dict[str, Any]]:
    animal = world.animal("W1").pk
    noted = {"noted": {"type": "weight", "grams": "100"}}
    return [world.item("husbandry_noted", animal, noted) for _ in range(count)]


def test_a_long_push_that_gets_on_waits_for_each_of_its_turns(
    lasting_world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It was sent longer ago than anybody waits for a first turn."""
    monkeypatch.setattr(services.PACE, "stretch", lambda: 1)
    monkeypatch.setattr(services, "TIMEOUT", 30.0)
    monkeypatch.setattr(services, "LONGEST", 200.0)
    world = lasting_world
    items, actor = weights(world, 6), Actor(keeper=world.odile.pk)
    with others_at_it(), answering(Sender(0.0, 100.0)):
        outcomes = accept(items, actor, world.now)
    assert [one.status for one in outcomes] == ["accepted"] * 6


@pytest.mark.parametrize("sender", [Sender(3.0), Sender(0.0, gone=True)], ids=["late", "gone"])
def test_what_has_waited_too_long_or_for_nobody_is_not_begun(
    lasting_world: World, sender: Sender
) -> None:
    world = lasting_world
    items, actor = weights(world, 1), Actor(keeper=world.odile.pk)
    size = Entry.objects.count()
    with others_at_it(), answering(sender), pytest.raises(Busy):
        accept(items, actor, world.now)
    assert Entry.objects.count() == size
