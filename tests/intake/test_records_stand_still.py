"""What examiners' records count of an animal stands still while a guest is to check it blind;
everything else of them goes on."""

import random
from collections import Counter
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
from tests.intake.test_examiner_records import checked, settle_by_eggs
from tests.world import World

from scalewitness.animals.models import Animal
from scalewitness.calls.models import Call
from scalewitness.examiners.figures import withheld_from
from scalewitness.intake.statements import update_examiner_records
from scalewitness.people.models import Keeper
from scalewitness.standings.queries.records import latest_records

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]


def counted(who: Keeper) -> tuple[int, int]:
    """Wrong and right in the keeper's record in force, of females probed."""
    record = latest_records().get(who.pk)
    counts = {(one.method, one.sex): one for one in record.counts} if record else {}
    found = counts.get(("probing", "female"))
    return (found.wrong, found.right) if found else (0, 0)


def settled(world: World, tag: str, sex: str = "female") -> Animal:
    animal = checked(world, tag, sex)
    settle_by_eggs(world, animal)
    return animal


def has_eggs(animal: Animal) -> bool:
    return animal.calls.filter(method="reproduction", withdrawal=None).exists()


def withdraw_eggs(world: World, animal: Animal) -> None:
    eggs = animal.calls.get(method="reproduction", withdrawal=None)
    world.say(world.odile, "call_withdrawn", animal.pk, {"call": str(eggs.pk)})


def test_a_busy_examiner_gets_a_record_though_someone_is_always_to_check_blind(
    world: World,
) -> None:
    for n in range(4):
        settled(world, f"S{n}")
    open_one = checked(world, "B1", "female")
    world.visit(world.stan, open_one)
    settle_by_eggs(world, open_one)
    assert update_examiner_records(world.now) == 1
    assert counted(world.greta) == (0, 4), "all but the one that Stan is still to check"


def test_what_is_settled_meanwhile_counts_once_the_check_is_made(world: World) -> None:
    settled(world, "S1")
    update_examiner_records(world.now)
    animal = checked(world, "B1", "male")
    visit = world.visit(world.stan, animal)
    settle_by_eggs(world, animal)
    assert update_examiner_records(world.now) == 0
    assert counted(world.greta) == (0, 1)
    world.call(world.stan, animal, "female", visit=visit)
    assert update_examiner_records(world.now) == 2, "Greta's, and now Stan's own"
    assert counted(world.greta) == (1, 1)


def test_what_was_counted_before_is_neither_taken_out_nor_put_back(world: World) -> None:
    animal = settled(world, "B1", "male")
    update_examiner_records(world.now)
    assert counted(world.greta) == (1, 0)
    world.visit(world.stan, animal, days=30)
    assert update_examiner_records(world.now) == 0, "that he came would change the count"
    withdraw_eggs(world, animal)
    assert update_examiner_records(world.now) == 0, "nor does he learn that eggs are gone"
    settled(world, "S1")
    assert update_examiner_records(world.now) == 1
    assert counted(world.greta) == (1, 1), "a record stated meanwhile counts it as before"
    settled(world, "S2")
    update_examiner_records(world.now)
    assert counted(world.greta) == (1, 2)
    world.pass_time(days=30)
    assert update_examiner_records(world.now) == 0, "his call may come still"
    assert withheld_from(world.stan.pk, world.greta.pk, world.now)
    world.pass_time(days=14)
    assert not withheld_from(world.stan.pk, world.greta.pk, world.now)
    update_examiner_records(world.now)
    assert counted(world.greta) == (0, 2)


def test_settled_before_the_visit_and_not_counted_yet_stays_out(world: World) -> None:
    animal = settled(world, "B1", "male")
    world.visit(world.stan, animal, days=30)
    assert update_examiner_records(world.now) == 0
    settled(world, "S1")
    update_examiner_records(world.now)
    assert counted(world.greta) == (0, 1)


def test_an_animal_waits_until_everyone_has_checked_it(world: World) -> None:
    animal = checked(world, "B1", "female")
    visits = {who.pk: world.visit(who, animal, days=9) for who in (world.stan, world.pim)}
    settle_by_eggs(world, animal)
    world.call(world.stan, animal, "female", visit=visits[world.stan.pk])
    assert update_examiner_records(world.now) == 0
    world.call(world.pim, animal, "female", visit=visits[world.pim.pk])
    assert update_examiner_records(world.now) == 3


@pytest.mark.parametrize("end", ["lapses", "cancelled", "given back"])
def test_an_ended_visit_keeps_nothing_waiting_and_a_new_one_does_again(
    world: World, end: str
) -> None:
    """Once no call of it may come without being late: who gives it back says that none will."""
    animal = settled(world, "B1")
    first = world.visit(world.stan, animal, days=9)
    world.pass_time(hours=1)
    if end == "cancelled":
        world.say(world.odile, "visit_cancelled", first)
    elif end == "lapses":
        world.pass_time(days=9)
    assert update_examiner_records(world.now) == 0
    if end == "given back":
        give_back(world, first)
    else:
        world.pass_time(days=14)
    assert update_examiner_records(world.now) == 1
    world.visit(world.stan, animal, days=9)
    withdraw_eggs(world, animal)
    assert update_examiner_records(world.now) == 0
    assert counted(world.greta) == (0, 1)


def give_back(world: World, visit: UUID) -> None:
    world.say(world.stan, "grant_revoked", world.collection.pk, {"grant": str(visit)})


def ends(world: World, animal: Animal, why: str) -> None:
    kind = "animal_ended" if why in {"died", "lost"} else "end_corrected"
    world.say(world.odile, kind, animal.pk, {"why": why})


def test_one_that_died_is_not_waited_for_and_one_that_is_lost_is(world: World) -> None:
    dead, lost = settled(world, "B1"), settled(world, "B2", "male")
    for animal in (dead, lost):
        world.visit(world.stan, animal, days=30)
    ends(world, dead, "died")
    ends(world, lost, "lost")
    assert update_examiner_records(world.now) == 0, "the wrong tub's is put right within a week"
    world.pass_time(days=7)
    assert update_examiner_records(world.now) == 1
    assert counted(world.greta) == (0, 1)
    ends(world, lost, "found")
    assert update_examiner_records(world.now) == 0, "he may check it again"
    world.pass_time(days=23 + 14)
    update_examiner_records(world.now)
    assert counted(world.greta) == (1, 1)


def test_after_a_death_that_was_none_nothing_moves_back_and_no_check_is_blind(
    world: World,
) -> None:
    """What was found of it had shown, for all that anybody knows."""
    animal = settled(world, "B1", "male")
    visit = world.visit(world.stan, animal, days=30)
    ends(world, animal, "died")
    world.pass_time(days=8)
    update_examiner_records(world.now)
    assert counted(world.greta) == (1, 0)
    ends(world, animal, "mistake")
    withdraw_eggs(world, animal)
    assert update_examiner_records(world.now) == 1
    assert counted(world.greta) == (0, 0)
    assert not call_by_stan(world, animal, visit).blind


def test_a_death_that_was_put_right_within_a_week_costs_no_check_its_blindness(
    world: World,
) -> None:
    animal = settled(world, "B1", "male")
    visit = world.visit(world.stan, animal, days=30)
    ends(world, animal, "died")
    world.pass_time(days=6)
    ends(world, animal, "mistake")
    world.pass_time(days=3)
    assert update_examiner_records(world.now) == 0
    assert call_by_stan(world, animal, visit).blind


def test_what_a_guest_saw_before_a_death_stays_blind_though_its_end_is_backdated(
    world: World,
) -> None:
    """Else the seller could take the weight from a check that is still on somebody's phone."""
    animal = settled(world, "B1")
    visit = world.visit(world.stan, animal, days=30)
    seen = world.now
    world.pass_time(days=1)
    body = {"why": "died"}
    world.say(world.odile, "animal_ended", animal.pk, body, at=seen - timedelta(days=5))
    world.pass_time(days=9)
    assert call_by_stan(world, animal, visit, at=seen).blind


def call_by_stan(world: World, animal: Animal, visit: UUID, **more: Any) -> Call:
    world.call(world.stan, animal, "female", visit=visit, **more)
    return animal.calls.get(by=world.stan.pk)


@dataclass
class Tracker:
    """Keeps, by animal, what the last record counted of it, and leaves it alone while a visit
    is open."""

    world: World
    animals: list[Animal]
    visits: dict[Animal, UUID] = field(default_factory=dict)
    kept: dict[Animal, Counter[str]] = field(default_factory=dict)

    def toggle_eggs(self, animal: Animal) -> None:
        if has_eggs(animal):
            withdraw_eggs(self.world, animal)
        else:
            settle_by_eggs(self.world, animal)

    def toggle_visit(self, animal: Animal) -> None:
        if animal in self.visits:
            give_back(self.world, self.visits.pop(animal))
        else:
            self.visits[animal] = self.world.visit(self.world.stan, animal, days=90)

    def make_up(self, _: Animal) -> None:
        fresh = {one: self.now_counted(one) for one in self.animals if one not in self.visits}
        before, after = self.total(self.kept), self.total(self.kept | fresh)
        if before != after:
            self.kept |= fresh
        assert update_examiner_records(self.world.now) == (before != after)
        assert counted(self.world.greta) == after

    def total(self, by_animal: dict[Animal, Counter[str]]) -> tuple[int, int]:
        found = sum(by_animal.values(), Counter[str]())
        return found["wrong"], found["right"]

    def now_counted(self, animal: Animal) -> Counter[str]:
        said = animal.calls.get(examiner=self.world.greta.pk).conclusion
        return Counter(["right" if said == "female" else "wrong"] * has_eggs(animal))


MORE_WALKS = pytest.mark.long(
    "further walks of thirty steps; tests/intake/test_records_stand_still.py"
    "::test_records_follow_a_tracker_whatever_happens_in_whatever_order"
)


@pytest.mark.parametrize("start", [0, *(pytest.param(n, marks=MORE_WALKS) for n in range(1, 6))])
def test_records_follow_a_tracker_whatever_happens_in_whatever_order(
    world: World, start: int
) -> None:
    chance = random.Random(start)  # noqa: S311  the same walk each time
    sexes = [chance.choice(["male", "female"]) for _ in range(3)]
    tracker = Tracker(world, [checked(world, f"A{n}", sex) for n, sex in enumerate(sexes)])
    for _ in range(30):
        step = chance.choice([tracker.toggle_eggs, tracker.toggle_visit, tracker.make_up])
        step(chance.choice(tracker.animals))
        world.pass_time(hours=1)
    tracker.make_up(tracker.animals[0])
