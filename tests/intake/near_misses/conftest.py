"""Keepers, rooms and animals whose ids come before and after those meant."""

from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
from tests.plugins.told_once import told_once
from tests.world import World, keeper, new_id

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.services import create_collection
from scalewitness.domain.errors import Refused
from scalewitness.people.models import Keeper
from scalewitness.sales.models import Sale


@told_once
def others(db: None) -> dict[str, Keeper]:
    """Keepers by where their ids are: ``before`` the ``host``'s or ``after`` it."""
    made = sorted((keeper(f"Person {number}") for number in range(3)), key=lambda one: one.pk)
    return dict(zip(("before", "host", "after"), made, strict=True))


@told_once
def world(others: dict[str, Keeper]) -> World:
    """Odile is the one in the middle."""
    return World(odile=others["host"])


@pytest.fixture
def other(others: dict[str, Keeper], side: str) -> Keeper:
    return others[side]


def room_of(world: World, who: Keeper, side: str) -> Collection:
    """With an id on that side of the long room's."""
    off = timedelta(days=-1 if side == "before" else 1)
    return create_collection(who, new_id(world.now + off), "The other room", world.now)


def two(world: World, side: str) -> tuple[Animal, Animal]:
    """Two animals, the second on that side of the first."""
    first = world.animal("A1")
    world.pass_time(hours=1)
    second = world.animal("A2")
    return (first, second) if side == "after" else (second, first)


def refused(
    world: World, who: Keeper, kind: str, about: UUID, body: dict[str, Any] | None = None
) -> tuple[str, str | None]:
    """With which code, and where it points."""
    with pytest.raises(Refused) as error:
        world.say(who, kind, about, body)
    problem = error.value.as_problem()
    errors = problem.get("errors") or [{}]
    return str(problem["code"]), errors[0].get("pointer")


def move(to: Collection, why: str, sale: Sale | None = None) -> dict[str, str]:
    return {"to": str(to.pk), "why": why} | ({"sale": str(sale.pk)} if sale else {})
