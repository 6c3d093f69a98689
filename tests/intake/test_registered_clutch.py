"""Eggs or young that their keeper saw, confirmed by who saw the young that are registered."""

from datetime import timedelta

import pytest
from tests.intake.test_reports import refused, report
from tests.intake.test_witness_withdrawn import eggs
from tests.world import World

from scalewitness.animals.models import Animal
from scalewitness.calls.models import Attestation
from scalewitness.domain.errors import Refused
from scalewitness.standings.queries.replay import Replay

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]


@pytest.fixture
def dam(world: World) -> Animal:
    return world.animal("D1")


def hatched(world: World, dam: Animal, days: int = 60, tag: str = "H1", **more: str) -> Animal:
    """Registered as its young, so many days after the story's today."""
    on = (world.now + timedelta(days=days)).date().isoformat()
    world.pass_time(days=max(days, 0))
    return world.animal(tag, dam=str(dam.pk), hatched=on, **more)


def says(world: World, dam: Animal, call: str, young: Animal) -> None:
    body = {"call": call, "young": str(young.pk)}
    world.say(world.stan, "witness_stated", dam.pk, body)


def test_a_second_keeper_who_saw_registered_young_confirms(world: World, dam: Animal) -> None:
    call = eggs(world, world.odile, dam)
    assert (report(dam), world.label(dam)) == ("unconfirmed", "probable female")
    young = hatched(world, dam)
    assert report(dam) == "unconfirmed", "registering alone is its keeper's word too"
    world.view(world.stan, dam, young)
    says(world, dam, call, young)
    assert (report(dam), world.label(dam)) == ("confirmed", "verified female")
    assert Attestation.objects.get().young == young.pk
    assert list(Replay().differences()) == []
    world.say(world.stan, "witness_withdrawn", dam.pk, {"call": call})
    assert (report(dam), world.label(dam)) == ("unconfirmed", "probable female")


def test_what_is_not_young_of_that_call(world: World, dam: Animal) -> None:
    call, other = eggs(world, world.odile, dam), world.animal("D2")
    nobodys = world.animal("H2")
    before = hatched(world, dam, -8, "H3")
    others = hatched(world, other, 60, "H4")
    later = hatched(world, dam, 150, "H5")
    undated = world.animal("H6", dam=str(dam.pk))
    for young in (nobodys, before, others, later, undated):
        world.view(world.stan, dam, young)
        body = {"call": call, "young": str(young.pk)}
        assert refused(world, world.stan, "witness_stated", dam, body) == "out_of_range"
    assert report(dam) == "unconfirmed"


@pytest.mark.parametrize("days", [-7, 0, 200])
def test_young_hatch_within_a_season_of_what_was_seen(world: World, dam: Animal, days: int) -> None:
    call = eggs(world, world.odile, dam)
    young = hatched(world, dam, days)
    world.view(world.stan, dam, young)
    says(world, dam, call, young)
    assert report(dam) == "confirmed"


def test_only_who_sees_the_young_whole_and_gains_nothing_by_it(world: World, dam: Animal) -> None:
    call = eggs(world, world.odile, dam)
    young, sold = hatched(world, dam), hatched(world, dam, 0, "H2")
    world.view(world.stan, dam)
    body = {"call": call, "young": str(young.pk)}
    assert refused(world, world.stan, "witness_stated", dam, body) == "not_found"
    world.visit(world.stan, young)
    assert refused(world, world.stan, "witness_stated", dam, body) == "not_found", "still blind"
    world.view(world.stan, sold)
    world.offer(world.draft(sold, email=world.stan.email))
    with pytest.raises(Refused) as problem:
        says(world, dam, call, sold)
    assert problem.value.as_problem()["code"] == "not_allowed"
    assert report(dam) == "unconfirmed"
