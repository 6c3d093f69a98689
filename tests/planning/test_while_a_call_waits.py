"""A newcomer's contrary call that waits is in no figure, also not in those of planning."""

from datetime import timedelta

import pytest
from tests.world import World, keeper

from scalewitness.animals.models import Animal
from scalewitness.disputes.queries.disputes import at_stake
from scalewitness.intake.newcomers import count_unanswered
from scalewitness.pages.plots.of_case import turns_of
from scalewitness.planning.candidates import candidates
from scalewitness.standings.queries.assessing import yardstick
from scalewitness.standings.queries.dossier import dossier

pytestmark = pytest.mark.django_db


def contrary(world: World, animal: Animal, name: str) -> None:
    world.pass_time(days=1)
    guest = keeper(name)
    world.call(guest, animal, "female", visit=world.visit(guest, animal))


def test_planning_leaves_it_out_until_it_counts(world: World) -> None:
    animal = world.verified("V1")
    rule = yardstick()

    def weighed() -> list[str]:
        stake = at_stake([animal.pk], world.now)
        (ready,) = candidates([animal], stake, rule.numbers, world.now)
        return [one.conclusion for one in ready.candidate.evidence]

    before = weighed()
    contrary(world, animal, "New")
    assert weighed() == before
    contrary(world, animal, "Newer")
    assert weighed() == [*before, "female", "female"]


def test_the_course_of_the_answer_says_from_when_it_counts(world: World) -> None:
    animal = world.verified("V1")
    contrary(world, animal, "New")
    count_unanswered(world.now + timedelta(days=31))
    case = dossier(animal)
    turns = turns_of([one.call for one in case.calls], case.standings)
    assert turns[-1].text.endswith("waited, and counts from here on")
    assert turns[-1].p_male == float(case.standings[-1].p_male)
    assert not any(one.text == "Something else changed" for one in turns)
