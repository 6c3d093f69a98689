"""What the attack's bench finds is what the record does: free accounts verify nothing wrong."""

import pytest
from tests.world import World, keeper, probing, vouched

from bench.attack import Attack, crowds, drawn_from, falls, moved_by_one, standing, succeeds
from bench.attack import probing as bench_probing
from scalewitness.animals.models import Animal
from scalewitness.people.models import Keeper

ATTEMPTS = 12
SLACK = 1.05
"""A contrary call also makes it likelier that the others share a mistake: by 1 in 100 at most in
hundreds of attempts."""


def test_accounts_without_a_footing_verify_no_wrong_sex_whatever_they_do() -> None:
    random = drawn_from(7)
    for accounts, footed in crowds():
        if not footed:
            assert succeeds(accounts, footed, ATTEMPTS, random) is None


def test_the_bench_would_notice_an_attack_that_succeeds() -> None:
    assert succeeds(4, 3, ATTEMPTS, drawn_from(7)) is not None


def test_one_call_moves_an_honest_animal_by_no_more_than_it_says() -> None:
    moved = moved_by_one(1, ATTEMPTS, drawn_from(7))
    assert max(far / alone for far, alone in moved) <= SLACK


@pytest.mark.django_db
@pytest.mark.parametrize(("accounts", "footed"), [(4, 0), (4, 1), (2, 1)])
def test_the_record_answers_as_the_bench_does(world: World, accounts: int, footed: int) -> None:
    animal, attack = world.animal("A1"), Attack(accounts, footed, "female")
    attack.call(0, bench_probing("female"))
    check(world, animal, world.odile)
    for account in range(1, accounts):
        attack.call(account, bench_probing("female"))
        new = keeper(f"Account {account}")
        check(world, animal, vouched(new, world.now) if attack.has_footing(account) else new)
    assert world.label(animal) == standing(attack.calls).label


@pytest.mark.django_db
@pytest.mark.parametrize("count", [1, 2])
@pytest.mark.parametrize("footed", [True, False])
def test_an_honest_animal_falls_where_the_bench_says(
    world: World, count: int, footed: bool
) -> None:
    animal = world.verified("V1")
    for number in range(count):
        new = keeper(f"Contrary {number}")
        check(world, animal, vouched(new, world.now) if footed else new)
    fell = not world.label(animal).startswith("verified")
    assert fell == falls(count, footed=footed, unanswered=False)


def check(world: World, animal: Animal, who: Keeper) -> None:
    """Female, by a blind guest or its keeper, a day later; its transponder is read."""
    world.pass_time(days=1)
    body = probing("female", world.chip(animal))
    if who != world.odile:
        body["visit"] = str(world.visit(who, animal))
    assert world.say(who, "call_made", animal.pk, body).status == "accepted"
