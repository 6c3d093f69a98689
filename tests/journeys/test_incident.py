"""A verified sex falls on a bad day: the broker is down, the mail host is down, then hangs up,
then refuses, and the worker is killed at each turn. Afterwards everyone who relied on it has
one letter, and every state is true. On the whole running service."""

import json
import os
import subprocess
import sys
from collections import Counter
from pathlib import Path

import httpx
import pytest
from tests.journeys.test_crashes import Service
from tests.journeys.test_crashes import service as service
from tests.journeys.test_crashes import sink as sink
from tests.waiting import ENOUGH, eventually

from stack.local import ROOT
from stack.mailsink import Faults, MailSink

BUYERS = 4
STORY = f"""
import json, django
django.setup()
from fall_story import Story
made = Story({BUYERS})
call = made.call()
print(json.dumps({{"token": made.guest_token, "call": call}}))
"""


def told(service: Service) -> dict[str, object]:
    """An animal sold to each of the buyers in turn, and the call that will end it."""
    paths = os.pathsep.join(str(ROOT / one) for one in ("server", "deploy", "deploy/bench"))
    environment = os.environ | service.stack.environment | {"PYTHONPATH": paths}
    environment["DJANGO_SETTINGS_MODULE"] = "scalewitness.settings"
    done = subprocess.run(  # noqa: S603  our own story
        [sys.executable, "-c", STORY],
        env=environment,
        capture_output=True,
        text=True,
        timeout=ENOUGH,
    )
    assert done.returncode == 0, done.stderr
    return dict(json.loads(done.stdout.splitlines()[-1]))


def hurry(service: Service) -> None:
    """What waits for its next try is due now; what is due already stays so, for a worker that
    looks by a clock it read a moment ago."""
    service.database.execute(
        "UPDATE mail_letter SET next_try_at = now() WHERE state = 'waiting' AND next_try_at > now()"
    )


def states(service: Service) -> Counter[str]:
    rows = service.rows("SELECT state FROM mail_letter WHERE kind = 'disclosure'")
    return Counter(state for (state,) in rows)


def tries(service: Service) -> int:
    found = service.rows("SELECT min(attempts) FROM mail_letter WHERE kind = 'disclosure'")
    return int(found[0][0] or 0)


@pytest.mark.long(
    "a service of its own, whose parts are killed in turn; "
    "tests/intake/test_chains.py::test_every_change_is_disclosed_once_to_each_who_relied"
)
def test_everyone_who_relied_on_it_hears_once(
    service: Service, sink: MailSink, tmp_path: Path
) -> None:
    story = told(service)
    sink.stop()
    service.supervisor.kill("worker")
    service.supervisor.kill("valkey")
    it_falls(service, story)
    service.stack.start_queue()
    tries_in_vain(service)
    with MailSink(tmp_path / "mail", port=sink.port, faults=Faults(drop_after_data=True)) as one:
        tries_in_vain(service)
        assert "disclosure" not in {kind_of(letter) for letter in one.messages()}
    with MailSink(tmp_path / "mail", port=sink.port, faults=Faults(refuse_first=3)) as one:
        recovers(service)
        arrived = [letter for letter in one.messages() if kind_of(letter) == "disclosure"]
    ids = Counter(letter["Message-ID"] for letter in arrived)
    assert len(ids) == BUYERS
    assert {letter["To"] for letter in arrived} == {f"b{n}@buyers.example" for n in range(BUYERS)}
    # Killed between the host's yes and our note of it, a letter goes again under its own id.
    assert sum(ids.values()) <= BUYERS + 1
    untrue = service.rows(
        "SELECT id FROM mail_letter WHERE kind = 'disclosure' "
        "AND (sent_at IS NULL OR last_error <> '' OR claimed_until IS NOT NULL)"
    )
    assert untrue == []


def it_falls(service: Service, story: dict[str, object]) -> None:
    answer = httpx.post(
        f"{service.stack.url}/api/v1/push",
        json={"items": [story["call"]]},
        headers={"Authorization": f"Bearer {story['token']}"},
        timeout=ENOUGH,
    )
    (outcome,) = answer.raise_for_status().json()["items"]
    assert outcome["status"] == "accepted", "a dead broker keeps nothing out of the log"
    assert states(service) == {"waiting": BUYERS}
    owed = service.rows("SELECT count(*) FROM ledger_entry WHERE kind = 'disclosure_owed'")
    assert owed == [(BUYERS,)]


def tries_in_vain(service: Service) -> None:
    before = tries(service)
    hurry(service)
    service.stack.start_worker()
    eventually(lambda: tries(service) > before, "a try at each letter")
    service.supervisor.kill("worker")


def recovers(service: Service) -> None:
    hurry(service)
    service.stack.start_worker()
    eventually(lambda: states(service)["sent"] >= 1, "the first letter")
    service.supervisor.kill("worker")
    service.stack.start_worker()

    def all_sent() -> bool:
        hurry(service)
        return states(service) == {"sent": BUYERS}

    eventually(all_sent, "the last letter")


def kind_of(message: object) -> str:
    return str(message["X-Scalewitness-Letter"])  # type: ignore[index]
