"""Promise 2: every standing can be recomputed from the log, and a difference is found."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from tests.world import World

from scalewitness.calls.models import Standing
from scalewitness.calls.queries.replay import Replay
from scalewitness.disputes.models import Dispute

pytestmark = pytest.mark.django_db


def full_story(world: World) -> None:
    animal = world.verified("V1")
    world.sold(animal)
    world.call(world.greta, animal, "female", visit=world.visit(world.greta, animal))
    contrary = animal.calls.get(by=world.greta.pk)
    world.pass_time(days=1)
    world.call(world.stan, animal, "male", visit=world.visit(world.stan, animal))
    finding = {"outcome": "call_set_aside", "set_aside": [str(contrary.pk)]}
    world.say(world.odile, "finding_recorded", Dispute.objects.get().pk, finding)
    other = world.animal("B1")
    made = world.call(world.odile, other, "female")
    world.say(world.odile, "call_withdrawn", other.pk, {"call": made.id})
    world.say(world.odile, "particulars_corrected", other.pk, {"species": "boa_imperator"})


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
