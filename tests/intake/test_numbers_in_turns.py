"""Newly adopted numbers look through all animals a few at a time, where transactions are real."""

from uuid import UUID

import pytest
from tests.learned import MUCH, put_in_force
from tests.world import World

from scalewitness.intake import reassessing
from scalewitness.intake.tasks import go_on_reassessing
from scalewitness.standings.queries.replay import Replay


def test_looking_through_goes_on_where_it_was_stopped_and_others_write_meanwhile(
    lasting_world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = lasting_world
    animals = [world.verified(f"V{n}") for n in range(4)]
    monkeypatch.setattr(reassessing, "LOOKED_AT_TOGETHER", 1)
    whole, looked_at = reassessing.relabelled, list[UUID]()

    def stops(some: list[UUID]) -> list[UUID]:
        if len(looked_at) == 2:
            raise KeyboardInterrupt
        looked_at.extend(some)
        world.call(world.odile, world.animal(f"B{len(looked_at)}"), "male")
        return whole(some)

    monkeypatch.setattr(reassessing, "relabelled", stops)
    with pytest.raises(KeyboardInterrupt):
        put_in_force(world, MUCH)
    assert sorted(map(world.label, animals)) == ["probable male"] * 2 + ["verified male"] * 2
    again = list[UUID]()

    def notes(some: list[UUID]) -> list[UUID]:
        again.extend(some)
        return whole(some)

    monkeypatch.setattr(reassessing, "relabelled", notes)
    assert go_on_reassessing() == 2
    assert set(map(world.label, animals)) == {"probable male"}
    assert not set(again) & set(looked_at)
    again.clear()
    assert go_on_reassessing() == 0
    assert again == [], "once it is over nobody looks again"
    assert list(Replay().differences()) == []


def test_one_that_cannot_be_worked_out_keeps_nobody_after_it_waiting(
    lasting_world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = lasting_world
    animals = sorted((world.verified(f"V{n}") for n in range(3)), key=lambda one: one.pk)
    whole = reassessing.relabelled

    def fails(some: list[UUID]) -> list[UUID]:
        if animals[0].pk in some:
            raise ZeroDivisionError
        return whole(some)

    monkeypatch.setattr(reassessing, "LOOKED_AT_TOGETHER", 1)
    monkeypatch.setattr(reassessing, "relabelled", fails)
    put_in_force(world, MUCH)
    assert set(map(world.label, animals)) == {"probable male"}
