"""Promise 2: every standing can be recomputed from the log, and a difference is found."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from tests.assessed import assessment_of
from tests.world import World

from scalewitness.animals.models import Animal
from scalewitness.disputes.models import Dispute
from scalewitness.domain.facts import StandingChanged
from scalewitness.domain.sexing.case import share
from scalewitness.domain.sexing.parameters import CURRENT, load_parameters
from scalewitness.intake.batch import Batch
from scalewitness.intake.statements import RECORD, adopt_policy
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.assessing import Yardstick
from scalewitness.standings.queries.dossier import dossier
from scalewitness.standings.queries.logged import latest_standing
from scalewitness.standings.queries.replay import Replay
from scalewitness.standings.services import standing_row

pytestmark = pytest.mark.django_db


def full_story(world: World) -> None:
    animal = world.verified("V1")
    world.sold(animal)
    world.call(world.greta, animal, "female", visit=world.visit(world.greta, animal))
    contrary = animal.calls.get(by=world.greta.pk)
    world.pass_time(days=1)
    world.call(world.stan, animal, "male", visit=world.visit(world.stan, animal))
    world.find(Dispute.objects.get(), contrary)
    other = world.animal("B1")
    made = world.call(world.odile, other, "female")
    world.say(world.odile, "call_withdrawn", other.pk, {"call": made.id})
    world.say(world.odile, "particulars_corrected", other.pk, {"species": "boa_imperator"})


def restated(world: World, animal: Animal, parameters: str) -> Standing:
    """The animal's standing as a release with these numbers in force would have stated it."""
    batch = Batch(RECORD, world.now)
    found, _ = assessment_of(animal, Yardstick(numbers=load_parameters(parameters)))
    body = StandingChanged(
        label=found.label,
        p_male=share(found.p_male),
        p_male_pessimistic=share(found.p_male_pessimistic),
        parameters=found.parameters,
        policy=found.policy,
        examiner_records=found.records,
    )
    logged = batch.state("standing_changed", animal.pk, body)
    batch.keep(Standing, standing_row(logged))
    batch.flush()
    return Standing.objects.get(pk=logged.id)


def test_replay_weighs_each_standing_by_the_numbers_it_names(world: World) -> None:
    """A log of standings by two versions. An upgrade alone brings no third: the record goes on
    by the version of its latest until another is adopted."""
    animal = world.animal("A1")
    world.call(world.odile, animal, "male")
    first = restated(world, animal, "sexing-1")
    logged = Standing.objects.get(animal=animal, position__lt=first.position)
    assert (logged.parameters, first.parameters) == (CURRENT, "sexing-1")
    assert logged.p_male != first.p_male
    replay = Replay()
    assert list(replay.differences()) == []
    assert replay.checked == 2
    world.pass_time(days=1)
    world.call(world.greta, animal, "male", visit=world.visit(world.greta, animal))
    assert latest_standing(animal.pk).parameters == "sexing-1"
    adopt_policy("policy-2", CURRENT, {}, world.now)
    assert latest_standing(animal.pk).parameters == CURRENT
    assert list(Replay().differences()) == []


def test_what_is_shown_explains_the_standing_that_was_stated(world: World) -> None:
    animal = world.animal("A1")
    world.call(world.odile, animal, "male")
    first = restated(world, animal, "sexing-1")
    for at in (None, first.position):
        shown = dossier(animal, at)
        assert shown.assessment.parameters == "sexing-1"
        assert share(shown.assessment.p_male) == first.p_male
        assert share(shown.sensitivity.p_male) == first.p_male
    assert dossier(animal, first.position - 1).assessment.parameters == CURRENT


def test_replay_finds_no_difference(world: World) -> None:
    full_story(world)
    replay = Replay()
    assert list(replay.differences()) == []
    assert replay.checked == Standing.objects.count() > 5
    out = StringIO()
    call_command("replay", stdout=out)
    assert "no difference" in out.getvalue()


@pytest.mark.parametrize(
    ("tampering", "found"),
    [
        ("UPDATE calls_standing SET label = 'verified female' WHERE label = 'contested'", "stored"),
        ("DELETE FROM calls_standing WHERE label = 'contested'", "stored"),
        ("UPDATE calls_standing SET p_male = '0.999999' WHERE label = 'contested'", "stored"),
    ],
)
def test_replay_finds_an_altered_standing(world: World, tampering: str, found: str) -> None:
    """As someone with the owner's rights could do it: triggers off, one row changed."""
    full_story(world)
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute("ALTER TABLE calls_standing DISABLE TRIGGER refuse_change")
        cursor.execute(tampering)
        assert cursor.rowcount == 1
    differences = list(Replay().differences())
    assert [found in one.what for one in differences] == [True]
    with pytest.raises(CommandError):
        call_command("replay", stderr=StringIO())
