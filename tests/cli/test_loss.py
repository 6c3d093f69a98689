"""A disk is lost, an older backup restored, the loss admitted: what becomes of what keepers
had said since. A real service with real dumps, and machines with the command on them."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

import httpx
import pytest
from tests.cli.rooms import Machine, Room, new_animal
from tests.plugins.own_database import copied
from tests.plugins.services import Services

from scalewitness.setting_up.keys import fresh_log_key
from stack import backup, restore
from stack.local import LocalStack
from stack.ready import free_port
from stack.supervisor import ProcessFailed, Supervisor


@pytest.fixture
def losing(services: Services, untouched_database: str, tmp_path: Path) -> Iterator[Room]:
    """A server of its own, whose database can be lost."""
    with (
        copied(untouched_database, f"{untouched_database}_first") as full,
        copied("template1", f"{untouched_database}_second") as empty,
        Supervisor(tmp_path / "run", say=lambda name, text: None) as supervisor,
    ):
        first, second = (
            urlsplit(services.owner_url)._replace(path=f"/{name}").geturl()
            for name in (full, empty)
        )
        given = {"DATABASE_URL": first, "REDIS_URL": services.redis_url}
        given |= {"DATABASE_OWNER_URL": first, "EMAIL_URL": "smtp://127.0.0.1:1"}
        stack = LocalStack(supervisor, tmp_path / "run", free_port(), given)
        stack.start_database()
        stack.start_queue()
        stack.start_mail()
        stack.start_web()
        room = Room(stack, tmp_path, spare=second)
        yield room
        room.close()


def back_up(room: Room, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("DATABASE_OWNER_URL", room.stack.environment["DATABASE_URL"])
    assert backup.main([str(room.folder / "backup")]) == 0
    return room.folder / "backup"


def lose_the_database(room: Room, made: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The service comes up again on what was backed up, fenced."""
    room.stack.supervisor.end("web")
    monkeypatch.setenv("DATABASE_OWNER_URL", room.spare)
    monkeypatch.setenv("DATABASE_URL", room.spare)
    for name in ("LOG_SIGNING_KEY", "SECRET_KEY", "PUBLIC_URL", "REDIS_URL"):
        monkeypatch.setenv(name, room.stack.environment[name])
    monkeypatch.setenv("DJANGO_SETTINGS_MODULE", "scalewitness.settings")
    assert restore.main([str(made)]) == 0
    room.stack.environment["DATABASE_URL"] = room.stack.owner_url = room.spare
    room.stack.start_web()


def admit(room: Room, newest: Path) -> str:
    """The operator's side; the new log's key."""
    room.stack.supervisor.end("web")
    environment = room.stack.environment
    environment["LOG_RETIRED_KEYS"] = room.log_key_before
    anew = fresh_log_key("anew.example/log")
    environment["LOG_SIGNING_KEY"] = anew.secret()
    because = "The disk failed, and the backup is of the morning."
    room.stack.run("admit", "scalewitness", "admit_loss", str(newest), "--because", because)
    room.stack.start_web()
    return str(anew.verifier)


def calls_of(keeper: Machine, animal: str) -> set[str]:
    found = keeper.api.get(f"animals/{animal}/calls").raise_for_status().json()["items"]
    return {one["id"] for one in found}


@dataclass
class Story:
    """Odile said ``before``, a backup was made, she said ``lost``; the newest checkpoint is in
    the file ``newest``. Greta lost nothing; Stan one call, and his machine's leave."""

    room: Room
    odile: Machine
    greta: Machine
    stan: Machine
    animal: str
    before: str
    lost: str
    newest: Path
    key: str = ""


def tell(room: Room, monkeypatch: pytest.MonkeyPatch) -> Story:
    """Up to a service that has come up again on the backup."""
    odile, greta, stan = (room.at_work(name) for name in ("odile", "greta", "stan"))
    new_animal(stan, "S1")
    stan.sync()
    animal = new_animal(odile, "O1")
    odile.sync()
    (before,) = odile.check("O1")["stored"]
    odile.sync()
    greta.sync()
    made = back_up(room, monkeypatch)
    (lost,) = odile.check("O1")["stored"]
    stan.check("S1")
    assert stan.sync()["sent"] == 1
    odile.run("edit", "O1", "--name", "Clove")
    assert odile.sync()["receipts"] == 1
    for id, name in ((before, "before.receipt"), (lost, "lost.receipt")):
        assert odile.run("receipt", id, name).status == 0
    newest = room.folder / "newest"
    newest.write_bytes(httpx.get(f"{room.stack.url}/log/checkpoint").content)
    room.log_key_before = room.log_key
    lose_the_database(room, made, monkeypatch)
    assert calls_of(odile, animal) == {before}
    return Story(room, odile, greta, stan, animal, before, lost, newest)


@pytest.mark.long(
    "a service of its own, lost, restored and started anew; "
    "tests/intake/test_succession.py::test_the_log_goes_on_under_the_new_name_and_says_what_it_lost"
)
def test_what_was_lost_is_offered_again_by_whoever_holds_it(
    losing: Room, monkeypatch: pytest.MonkeyPatch
) -> None:
    story = tell(losing, monkeypatch)
    smaller = story.odile.sync(status=1)
    assert (smaller["succeeded"], bool(smaller["alarm"])) == (None, True)
    with pytest.raises(ProcessFailed):
        losing.stack.run("adopt", "scalewitness", "adopt", str(story.newest))
    story.key = admit(losing, story.newest)
    they_are_told(story, smaller["alarm"])
    they_are_asked(story, smaller["alarm"])
    it_is_offered_again(story)
    every_receipt_holds(story)
    a_device_made_anew_signs_anew(story)


def a_device_made_anew_signs_anew(story: Story) -> None:
    stan = story.stan
    past = stan.run("sign-in", stan.url, "--email", stan.email, "--log-key", story.key)
    assert (past.status, "scalewitness follow-log" in past.err) == (1, True)
    (again,) = stan.well("follow-log", "--log-key", story.key)["again"]
    done = stan.sync()
    assert (done["sent"], done["receipts"], done["alarm"]) == (1, 1, None)
    assert stan.rows("SELECT id, state FROM outbox") == [(again, "accepted")]


def they_are_told(story: Story, alarm: str) -> None:
    """And nothing is followed by itself."""
    told = story.odile.sync(status=1)
    assert (told["alarm"], told["succeeded"]["key"]) == (alarm, story.key)
    assert [one["id"] for one in told["succeeded"]["lost"]] == [story.lost]
    words = story.odile.run("sync").out
    for part in ("It says that it lost", "Of yours it lost:", story.key, "scalewitness follow-log"):
        assert part in words
    hers = story.greta.sync(status=1)  # she met nothing in between
    assert hers["succeeded"]["lost"] == []
    assert "To go on with the other log" in story.greta.run("alarms").out


def they_are_asked(story: Story, alarm: str) -> None:
    odile, greta = story.odile, story.greta
    stranger = str(fresh_log_key("anew.example/log").verifier)
    past = odile.run("trust-log", story.key)  # so that nothing lost would be forgotten
    assert (past.status, "scalewitness follow-log" in past.err) == (1, True)
    refused = odile.run("follow-log", "--log-key", stranger)
    assert (refused.status, "It is not followed" in refused.err) == (1, True)
    assert odile.run("follow-log", type="n\n").status == 1
    assert odile.sync(status=1)["alarm"] == alarm
    followed = odile.run("follow-log", type="y\n")
    assert followed.status == 0, followed
    assert "says: “The disk failed, and the backup is of the morning.”" in followed.err
    assert "To be sent again by the next sync:" in followed.out
    assert greta.well("follow-log", "--log-key", story.key)["again"] == []
    assert greta.sync()["alarm"] is None


def it_is_offered_again(story: Story) -> None:
    odile = story.odile
    assert "offered again: 127.0.0.1" in odile.run("unsent").out
    assert "(offered again: the log lost it)" in odile.run("show", "O1").out
    done = odile.sync()
    assert (done["sent"], done["receipts"], done["alarm"]) == (2, 1, None)
    assert calls_of(odile, story.animal) == {story.before, story.lost}
    assert odile.well("show", "O1")["name"] == "Clove"
    assert "ALARM" not in odile.run("alarms").out
    again = odile.sync()
    assert (again["sent"], again["alarm"], again["succeeded"]) == (0, None, None)


def every_receipt_holds(story: Story) -> None:
    old, new = (key.partition("+")[0] for key in (story.room.log_key_before, story.key))
    assert story.odile.run("receipt", story.lost, "again.receipt").status == 0
    for name, log in (("before", old), ("lost", old), ("again", new)):
        held = story.odile.run("verify", f"{name}.receipt", "--json").json
        assert (held["holds"], held["log"]) == (True, log)
