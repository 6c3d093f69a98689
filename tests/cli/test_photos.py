"""Photos of checks: stored before the command returns, sent after their facts, lost never."""

import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from tests.cli.rooms import Machine, Room, new_animal
from tests.cli.test_interrupted import DIES
from tests.pictures import camera_file

from scalewitness.domain.pictures.reencoding import check_decodable
from scalewitness_cli.store import SINCE, VERSION, Store

pytestmark = pytest.mark.one_in(2)


@pytest.fixture(scope="module")
def odile(room: Room) -> Machine:
    return room.at_work("odile")


@pytest.fixture
def taken(tmp_path: Path) -> str:
    path = tmp_path / "snake.jpg"
    path.write_bytes(camera_file())
    return str(path)


def test_a_photo_goes_with_its_check_and_tells_nothing_else(odile: Machine, taken: str) -> None:
    animal = new_animal(odile, "P1")
    odile.sync()
    call, photo = odile.check("P1", "--photo", taken)["stored"]
    Path(taken).unlink()  # it is here already
    done = odile.sync()
    assert (done["sent"], done["photos"], done["photos_refused"]) == (2, 1, {})
    served = odile.api.get(f"photos/{photo}").content
    check_decodable(served)
    assert b"Cam & Co" not in served
    assert not odile.holds("Cam & Co")
    said = [one for one in odile.well("show", "P1")["facts"] if one["entry"]["id"] == photo]
    assert said[0]["entry"]["body"]["of"] == call
    assert said[0]["entry"]["about"] == animal
    file = odile.home / "kept.jpg"
    assert odile.run("photo", photo, str(file)).status == 0
    assert file.read_bytes() == served


@pytest.mark.one_in(1)
def test_a_sync_that_dies_before_or_after_the_file_went(odile: Machine, taken: str) -> None:
    new_animal(odile, "P2")
    odile.sync()
    for step in ("sending", "answered", "settled", "photo sent"):
        _, photo = odile.check("P2", "--photo", taken)["stored"]
        died = subprocess.run(
            [sys.executable, "-c", DIES, odile.url, step],
            env=odile.env, capture_output=True, text=True, timeout=120,
        )  # fmt: skip
        assert died.returncode == -9, (step, died.stderr)
        assert odile.sync()["photos"] == (0 if step == "photo sent" else 1), step
        check_decodable(odile.api.get(f"photos/{photo}").content)
    assert odile.rows("SELECT count(*) FROM photo WHERE state <> 'sent'") == [(0,)]


def test_what_is_no_picture_is_refused_before_anything_is_stored(
    odile: Machine, tmp_path: Path
) -> None:
    new_animal(odile, "P3")
    odile.sync()
    before = odile.rows("SELECT count(*) FROM outbox")
    (tmp_path / "notes.txt").write_text("no picture")
    probe = ("--left", "8.5:resistance", "--conclusion", "male", "--sureness", "certain")
    about = ("--identified", "tag:P3", "--held-by", "examiner")
    answer = odile.run("check", "P3", *probe, *about, "--photo", str(tmp_path / "notes.txt"))
    assert answer.status == 2
    assert "not a picture that can be read" in answer.err
    assert odile.rows("SELECT count(*) FROM outbox") == before


def test_a_store_of_the_version_before_is_taken_over(tmp_path: Path) -> None:
    with Store(tmp_path, "http://record.example") as made:
        path = made.folder / "store.sqlite"
    with sqlite3.connect(path) as earlier:
        for later in ("photo", "reading", "ahead", "elsewhere", "practitioner", "in_my_name"):
            earlier.execute(f"DROP TABLE {later}")
        earlier.execute("INSERT INTO kept VALUES ('cursor', 'here'), ('other', 'stays')")
        earlier.execute("PRAGMA user_version = 1")
    assert set(SINCE) == set(range(1, VERSION))
    with Store(tmp_path, "http://record.example") as store:
        assert store.kept("other") == "stays"
        assert store.kept("cursor") is None, "what is in its keeper's name is looked at anew"
        assert store.kept("resyncing") == "yes"
        assert store.rows("SELECT * FROM photo") == []
