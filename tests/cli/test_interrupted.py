"""A sync that is interrupted, at every step and in every way, loses and doubles nothing."""

import json
import subprocess
import sys
from collections.abc import Callable, Iterator

import pytest
from tests.cli.meddler import (
    Answer,
    Meddler,
    a_sign_in_page,
    cut_the_answer,
    cut_the_request,
    meddling,
    said_after_it_was_done,
    saying,
)
from tests.cli.rooms import Machine, Room, new_animal
from tests.turns import turns

pytestmark = pytest.mark.one_in(3)

DIES = """
import os, signal, sys, time
from pathlib import Path
from scalewitness_cli import main
from scalewitness_cli.identity import need_identity
from scalewitness_cli.memory import Memory, state_folder
from scalewitness_cli.public_log import PublicLog
from scalewitness_cli.remote import Api
from scalewitness_cli.store import Store, data_folder
from scalewitness_cli.sync import Line, sync
from scalewitness_cli.trust import kept_keys, keys_file

url, last = sys.argv[1:]

def at(step):
    if step == last:
        os.kill(os.getpid(), signal.SIGKILL)

store = Store(data_folder(), url)
identity = need_identity(store)
memory = Memory(state_folder(), identity.origin)
line = Line(Api(url, identity.token), PublicLog(url), memory, kept_keys(keys_file()))
sync(store, identity, line, int(time.time()), at)
print("alive")
"""
STEPS = ("begin", "sending", "answered", "settled", "looked", "fetched", "page stored",
    "sheets stored", "receipts stored")  # fmt: skip


@pytest.fixture(scope="module")
def meddler(room: Room) -> Iterator[Meddler]:
    with meddling(room.stack.url) as made:
        yield made


def hurried(machine: Machine) -> Machine:
    """Its waits before another try are short."""
    machine.fast = 5.0
    return machine


@pytest.fixture(scope="module")
def odile(room: Room, meddler: Meddler) -> Machine:
    return hurried(room.at_work("odile", meddler.url))


@pytest.fixture(scope="module")
def pim(room: Room, meddler: Meddler) -> Machine:
    return hurried(room.at_work("pim", meddler.url))


def in_the_log(keeper: Machine, animal: str) -> list[str]:
    return [one["id"] for one in keeper.api.get(f"animals/{animal}/calls").json()["items"]]


@pytest.mark.one_in(1)
def test_kill_9_at_every_step_of_a_sync(odile: Machine, request: pytest.FixtureRequest) -> None:
    """One more check before each: every kill meets something to send, to fetch, to prove. An
    ordinary run kills at one in two of them, others with each seed."""
    whose = turns(request.config, 2)
    animal = new_animal(odile, "K1")
    odile.sync()
    stored = []
    for step in filter(lambda _: next(whose), STEPS):
        stored += odile.check("K1")["stored"]
        died = subprocess.run(
            [sys.executable, "-c", DIES, odile.url, step],
            env=odile.env, capture_output=True, text=True, timeout=120,
        )  # fmt: skip
        assert (died.returncode, died.stdout) == (-9, ""), (step, died.stderr)
        assert set(stored) <= {id for (id,) in odile.rows("SELECT id FROM outbox")}, step
    odile.sync()
    assert in_the_log(odile, animal) == stored
    proved = odile.rows("SELECT id FROM outbox WHERE receipt IS NOT NULL ORDER BY seq")
    assert [id for (id,) in proved if id in stored] == stored
    shown = [one["entry"]["id"] for one in odile.well("show", "K1")["facts"]]
    assert [one for one in shown if one in stored] == stored


PASSES = {
    "answer lost": cut_the_answer,
    "outcome unknown, and recorded": said_after_it_was_done(503, "outcome_unknown"),
    "outcome unknown, and not": saying(503, "outcome_unknown", Retry_After="1"),
    "request lost": cut_the_request,
    "server error": saying(500, "server_error"),
    "throttled": saying(429, "throttled", Retry_After="1"),
}
LASTS = {
    "fenced": saying(503, "fenced"),
    "told to wait long": saying(429, "throttled", Retry_After="3600"),
    "a sign-in page": a_sign_in_page,
    "answer lost": cut_the_answer,
}


@pytest.mark.one_in(1)
def test_what_passes_is_got_over_within_one_sync(odile: Machine, meddler: Meddler) -> None:
    animal = new_animal(odile, "K2")
    odile.sync()
    stored = []
    for name, trick in PASSES.items():
        stored += odile.check("K2")["stored"]
        meddler.play("/push", trick)
        assert (odile.sync()["sent"], meddler.tricks) == (1, []), name
    assert in_the_log(odile, animal) == stored


def test_what_lasts_leaves_everything_stored(odile: Machine, meddler: Meddler) -> None:
    animal = new_animal(odile, "K3")
    odile.sync()
    stored = []
    for name, trick in LASTS.items():
        stored += odile.check("K3")["stored"]
        meddler.play("/push", trick)
        assert odile.run("sync", "--patience", "0").status == 3, name
        assert meddler.tricks == [], name
    assert [one["id"] for one in odile.well("unsent")] == stored
    assert odile.sync()["sent"] == 4
    assert in_the_log(odile, animal) == stored


WHOLE = {
    "address_unconfirmed": (saying(403, "address_unconfirmed"), 1, "follow the link"),
    "quota": (saying(429, "throttled", Retry_After="3600"), 3, "come back in 1 hour"),
    "overload": (saying(503, "busy", Retry_After="600"), 3, "come back in 10 minutes"),
}


@pytest.mark.parametrize("name", WHOLE)
@pytest.mark.some(1)
def test_a_push_refused_as_a_whole_keeps_every_item_and_goes_on_later(
    pim: Machine, meddler: Meddler, name: str
) -> None:
    trick, status, words = WHOLE[name]
    animal = new_animal(pim, name)
    pim.sync()
    stored = [*pim.check(name)["stored"], *pim.check(name)["stored"]]
    other = new_animal(pim, f"K7-{name}")
    meddler.play("/push", trick)
    answer = pim.run("sync", "--patience", "1")
    assert (answer.status, words in answer.out) == (status, True), answer
    assert "stored here" in answer.out
    assert [one["id"] for one in pim.well("unsent")] == stored
    assert pim.well("show", f"K7-{name}")["id"] == other, "it is read all the same"
    assert pim.sync()["sent"] == 2
    assert in_the_log(pim, animal) == stored


def test_a_server_that_always_asks_for_a_retry_does_not_hold_up_for_ever(
    pim: Machine, meddler: Meddler
) -> None:
    new_animal(pim, "K8")
    pim.sync()
    pim.check("K8")
    meddler.play("/push", *[saying(429, "throttled", Retry_After="1")] * 40)
    assert pim.run("sync", "--patience", "3").status == 3
    assert len(meddler.tricks) > 30
    meddler.tricks.clear()
    assert pim.sync()["sent"] == 1


@pytest.mark.long(
    "more than five hundred items; "
    "tests/cli/test_interrupted.py::test_what_lasts_leaves_everything_stored"
)
def test_a_server_away_between_two_batches(odile: Machine, meddler: Meddler) -> None:
    """More than the 500 items that go into one push."""
    file = odile.home / "animals.csv"
    rows = "".join(f"Q{number},python_regius,{odile.collection}\n" for number in range(260))
    file.write_text(f"tag,species,collection\n{rows}")
    assert odile.well("import", "animals", str(file))["stored"] == 520
    meddler.play("/push", lambda made, ask: ask(), saying(503, "server_error"))
    assert odile.run("sync", "--patience", "0").status == 3
    assert len(odile.well("unsent")) == 20
    assert odile.sync()["sent"] == 20
    tags = [one["identifiers"][0]["code"] for one in odile.well("show")]
    assert sorted(tag for tag in tags if tag.startswith("Q")) == sorted(
        f"Q{number}" for number in range(260)
    )


def test_a_feed_that_begins_anew_replaces_the_replica_and_not_the_outbox(odile: Machine) -> None:
    """The real server's 410, for a cursor that is none of its own."""
    new_animal(odile, "K5")
    odile.sync()
    before = odile.well("show")
    (refused,) = odile.check("K5", "--at", "2031-01-01T10:00:00+00:00")["stored"]
    odile.sync(status=1)
    odile.tamper("UPDATE kept SET content = 'bm9uc2Vuc2U' WHERE name = 'cursor'")
    gone = "INSERT INTO animal SELECT '00000000-0000-7000-8000-000000000000', 0, '{}'"
    odile.tamper(gone)
    done = odile.sync(status=1)
    assert (done["resynced"], done["purged"], done["left"]["refused"]) == (True, 1, 1)
    assert odile.well("show") == before
    assert odile.run("drop", refused, "--yes").status == 0


@pytest.mark.one_in(1)
def test_an_alarm_keeps_the_feed_out_and_lets_the_outbox_go(pim: Machine, meddler: Meddler) -> None:
    animal = new_animal(pim, "K6")
    pim.sync()
    (stored,) = pim.check("K6")["stored"]
    (kept,) = (pim.home / ".local/state/scalewitness/logs").glob("*/checkpoint")
    meddler.play("/log/checkpoint", lambda made, ask: (200, {}, kept_earlier))
    kept_earlier = kept.read_bytes().replace(b"\n", b"!\n", 1)
    done = pim.sync(status=1)
    assert done["alarm"]
    assert (done["sent"], done["pulled"]) == (1, 0)
    assert in_the_log(pim, animal) == [stored]
    assert stored not in {one["entry"]["id"] for one in pim.well("show", "K6")["facts"]}
    assert pim.run("acknowledge", done["alarm"], "--because", "a test").status == 0
    assert pim.sync()["receipts"] == 1
    assert stored in {one["entry"]["id"] for one in pim.well("show", "K6")["facts"]}


def another_time(meddler: Meddler, ask: Callable[[], Answer]) -> Answer:
    """The server's answer to a push, with another time received in it than the log has."""
    status, headers, body = ask()
    answer = json.loads(body)
    answer["items"][0]["stamp"]["received"] = "2026-11-01T09:00:00.000000Z"
    return status, headers, json.dumps(answer).encode()


def test_another_time_received_than_the_log_s_is_found_out(room: Room, meddler: Meddler) -> None:
    """What the answer says of it goes into the receipt, which then does not hold."""
    told = hurried(room.at_work("told", meddler.url))
    new_animal(told, "K8")
    told.sync()
    (stored,) = told.check("K8")["stored"]
    meddler.play("/push", another_time)
    done = told.sync(status=1)
    assert (done["sent"], done["receipts"], done["faulty"]) == (1, 0, [stored])
    (named,) = told.well("unsent", status=1)
    assert "not in the log that was signed" in named["fault"]


def test_an_item_the_server_fails_at_does_not_keep_the_others(
    odile: Machine, meddler: Meddler
) -> None:
    animal = new_animal(odile, "K9")
    odile.sync()
    stored = [odile.check("K9")["stored"][0] for _ in range(6)]
    bad = stored[3]
    meddler.fail_at = bad.encode()
    answer = odile.run("sync", "--patience", "0.1")
    assert answer.status == 3
    assert "is in trouble: 500" in answer.err
    assert in_the_log(odile, animal) == [one for one in stored if one != bad]
    assert [one["id"] for one in odile.well("unsent")] == [bad]
    meddler.fail_at = None
    assert odile.sync()["sent"] == 1
    assert sorted(in_the_log(odile, animal)) == sorted(stored)


def twenty(odile: Machine, tag: str) -> int:
    """Items that wait: ten animals, each with its tag."""
    file = odile.home / "ten.csv"
    rows = "".join(f"{tag}-{number},python_regius,{odile.collection}\n" for number in range(10))
    file.write_text(f"tag,species,collection\n{rows}")
    return int(odile.well("import", "animals", str(file))["stored"])


@pytest.mark.long(
    "failure after failure; "
    "tests/cli/test_interrupted.py::test_an_item_the_server_fails_at_does_not_keep_the_others"
)
def test_a_server_that_fails_at_everything_is_not_asked_for_each(
    odile: Machine, meddler: Meddler
) -> None:
    stored = twenty(odile, "K10")
    meddler.play("/push", saying(500, "server_error"))
    assert odile.run("sync", "--patience", "0").status == 0  # what passes is got over in halves
    stored = twenty(odile, "K11")
    meddler.fail_at, meddler.failed = b"", 0
    assert odile.run("sync", "--patience", "0.1").status == 3
    assert 3 < meddler.failed < 15
    meddler.fail_at = None
    assert odile.sync()["sent"] == stored
