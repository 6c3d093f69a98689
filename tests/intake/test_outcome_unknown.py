"""A commit of which nobody knows whether it holds is neither an acceptance nor a refusal."""

from time import sleep
from typing import Any

import pytest
from django.db import IntegrityError, OperationalError, connection, transaction
from tests.api.client import Api
from tests.no_standby import CANCEL, END, no_standby
from tests.world import World

from scalewitness.intake.batch import Actor
from scalewitness.intake.pieces import Piece
from scalewitness.intake.services import _take
from scalewitness.ledger.models import Entry
from scalewitness.postgresql import CommitUnknown


def weight(world: World) -> dict[str, Any]:
    noted = {"noted": {"type": "weight", "grams": "100"}}
    return world.item("husbandry_noted", world.animal("W1").pk, noted)


@pytest.mark.parametrize("statement", [CANCEL, END], ids=["wait cancelled", "line broken"])
def test_what_no_standby_has_is_not_accepted(lasting_world: World, statement: str) -> None:
    """PostgreSQL answers that it committed, with a warning; or it says nothing more."""
    world = lasting_world
    api, item = Api(world.odile), weight(world)
    with no_standby() as operator:
        with operator.at_each_wait(statement):
            answer = api.post("/push", {"items": [item]})
        assert (answer.status, answer.code) == (503, "outcome_unknown")
        assert int(answer.headers["Retry-After"]) > 0
        assert "whether this was recorded" in answer.body["title"]
    (again,) = api.post("/push", {"items": [item]}).body["items"]
    assert again["status"] == "duplicate"
    assert Entry.objects.get(fact=item["id"]).position == again["position"]


def test_a_repeat_waits_for_the_standby_as_well(lasting_world: World) -> None:
    """It writes nothing of its own; what it would vouch for, only the primary has."""
    world = lasting_world
    api, item = Api(world.odile), weight(world)
    with no_standby() as operator:
        for _ in range(2):
            with operator.at_each_wait(CANCEL):
                assert api.post("/push", {"items": [item]}).status == 503
    assert Entry.objects.filter(fact=item["id"]).exists()


def test_who_waits_too_long_for_a_commit_is_told_so(lasting_world: World) -> None:
    world = lasting_world
    api, item = Api(world.odile), weight(world)
    options = connection.settings_dict["OPTIONS"]
    before = options["commit_timeout"]
    with no_standby() as operator:
        options["commit_timeout"] = 0.1
        try:
            answer = api.post("/push", {"items": [item]})
        finally:
            options["commit_timeout"] = before
        assert (answer.status, answer.code) == (503, "outcome_unknown")
        operator.let_all_go()  # PostgreSQL waited on, with the log's lock
        (again,) = api.post("/push", {"items": [item]}).body["items"]
    assert again["status"] == "duplicate"


def test_those_whose_pieces_went_along_are_told_the_same(lasting_world: World) -> None:
    world = lasting_world
    animal = world.animal("W1").pk
    noted = {"noted": {"type": "weight", "grams": "100"}}
    actor = Actor(keeper=world.odile.pk)
    items = [world.item("husbandry_noted", animal, noted) for _ in range(2)]
    pieces = [Piece([one], actor, world.now, None) for one in items]
    with no_standby() as operator, operator.at_each_wait(CANCEL), pytest.raises(CommitUnknown):
        _take(pieces[0], pieces[1:])
    assert isinstance(pieces[1].fault, CommitUnknown)
    assert not pieces[0].outcomes


def test_what_postgresql_rolled_back_is_known(lasting_world: World) -> None:
    """An error at a commit on a line that holds."""
    with connection.cursor() as cursor:
        cursor.execute("CREATE TEMPORARY TABLE late (n int UNIQUE DEFERRABLE INITIALLY DEFERRED)")
    with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("INSERT INTO late VALUES (1), (1)")


def test_what_ended_before_its_commit_is_known(lasting_world: World) -> None:
    with pytest.raises(OperationalError) as lost, transaction.atomic():  # noqa: PT012
        Entry.objects.exists()
        connection.connection.close()
    assert not isinstance(lost.value, CommitUnknown)


@pytest.mark.parametrize(
    "setting",
    ["TRANSACTION READ ONLY", "LOCAL idle_in_transaction_session_timeout = 1"],
    ids=["no primary any more", "ended while idle"],
)
def test_what_is_the_servers_fault_refuses_no_item(
    lasting_world: World, monkeypatch: pytest.MonkeyPatch, setting: str
) -> None:
    """The driver takes both for errors of the program."""
    world = lasting_world
    api, item = Api(world.odile), weight(world)
    judge = Piece.judge

    def judge_late(piece: Piece, *rest: Any, **more: Any) -> Any:
        with connection.cursor() as cursor:
            cursor.execute(f"SET {setting}")
        sleep(0.05)
        return judge(piece, *rest, **more)

    with monkeypatch.context() as patch:
        patch.setattr(Piece, "judge", judge_late)
        answer = api.post("/push", {"items": [item]})
    assert (answer.status, answer.code) == (503, "busy")
    (again,) = api.post("/push", {"items": [item]}).body["items"]
    assert again["status"] == "accepted"
