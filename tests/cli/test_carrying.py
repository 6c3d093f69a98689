"""A record carried from one server to another, two origins, and checked there by a reader's own
program, which asks nobody."""

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from tests.cli.rooms import Room, new_animal
from tests.cli.test_verify import environment
from tests.plugins.own_database import copied
from tests.plugins.services import Services

from scalewitness.domain.translog.bundle import MEDIA_TYPE
from stack.local import LocalStack
from stack.ready import free_port
from stack.supervisor import Supervisor


@pytest.fixture
def elsewhere(
    room: Room, services: Services, untouched_database: str, tmp_path: Path
) -> Iterator[Room]:
    """Another server, on a database and with a log of its own; its operator knows the first's."""
    with (
        copied(untouched_database, f"{untouched_database}_elsewhere") as name,
        Supervisor(tmp_path / "run", say=lambda name, text: None) as supervisor,
    ):
        url = urlsplit(services.owner_url)._replace(path=f"/{name}").geturl()
        given = {"DATABASE_URL": url, "DATABASE_OWNER_URL": url, "EMAIL_URL": "smtp://127.0.0.1:1"}
        given |= {"REDIS_URL": services.redis_url}
        stack = LocalStack(supervisor, tmp_path / "run", free_port(), given)
        stack.environment["LOG_KNOWN_ORIGINS"] = room.log_key
        stack.start_database()
        stack.start_queue()
        stack.start_mail()
        stack.start_web()
        made = Room(stack, tmp_path)
        yield made
        made.close()


@pytest.mark.long(
    "a second service; "
    "tests/intake/test_quoting.py::test_it_is_shown_as_theirs_and_moves_no_standing"
)
def test_a_record_is_carried_to_another_server_and_checked_there_by_anybody(
    room: Room, elsewhere: Room, tmp_path: Path
) -> None:
    maren, file = room.at_work("maren"), tmp_path / "clove.bundle"
    animal = new_animal(maren, "CA-1")
    maren.sync()
    maren.check("CA-1")
    maren.sync()
    assert maren.well("bundle", "CA-1", "--write", str(file))["animal"] == animal

    nora = elsewhere.at_work("nora")
    there = new_animal(nora, "CA-1")
    nora.sync()
    origin = room.log_key.partition("+")[0]
    assert origin != elsewhere.log_key.partition("+")[0]
    made = nora.well("quote", "CA-1", str(file))
    assert (made["origin"], made["animal"]) == (origin, animal)
    assert made["log_origin"] == elsewhere.log_key.partition("+")[0], "its position is of this one"
    (shown,) = nora.api.get(f"animals/{there}/quoted").json()["items"]
    assert shown["log"] == {"origin": origin, "key": room.log_key, "known": True}
    assert shown["calls"] == 1
    assert nora.api.get(f"animals/{there}").json()["standing"] is None, "nothing of it counts"

    fetched = nora.api.get(f"quoted/{made['quote']}/file")
    assert fetched.headers["Content-Type"] == MEDIA_TYPE
    taken = tmp_path / "taken.bundle"
    taken.write_bytes(fetched.content)
    found = read_by_anybody(taken, room.log_key, tmp_path)
    assert (found["holds"], found["log_origin"], found["animal"]) == (True, origin, animal)
    assert [one["kind"] for one in found["entries"]].count("call_made") == 1
    assert found["standing_again"] == "", "computed again, with the same result"
    taken.write_bytes(fetched.content.replace(b'"count":', b'"count":1'))
    assert read_by_anybody(taken, room.log_key, tmp_path, status=1)["holds"] is False
    assert read_by_anybody(file, elsewhere.log_key, tmp_path, status=2)["holds"] is None


def read_by_anybody(file: Path, key: str, home: Path, status: int = 0) -> dict[str, object]:
    """In a process and a home of its own, with the key that somebody gave them."""
    command = [sys.executable, "-m", "scalewitness_cli", "check-bundle", str(file), "--key", key]
    given = environment() | {"HOME": str(home / "anybody")}
    done = subprocess.run([*command, "--json"], env=given, capture_output=True, check=False)
    assert done.returncode == status, done
    found: dict[str, object] = json.loads(done.stdout)
    return found
