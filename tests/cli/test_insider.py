"""Somebody with the application's own database role, who speaks in a keeper's name: the record
refuses it, or the keeper's own command shows it with the entry. No superuser is needed for any of
this, and `fsck` finds nothing wrong with most of it."""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from typing import Any
from urllib.parse import urlsplit

import httpx
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from tests.cli.rooms import Answer, Machine, Room, envelope, fresh_id, new_animal
from tests.plugins.services import Services
from tests.waiting import ENOUGH
from tests.world import probing

from scalewitness_cli.devicekey import DeviceKey
from scalewitness_cli.identity import moment_now
from scalewitness_cli.recovery import spelled
from scalewitness_cli.revoked import FILE

pytestmark = pytest.mark.one_in(5)

ENROL = """
from django.utils import timezone
from scalewitness.people.models import Keeper
from scalewitness.people.services import enrol_device
device, token = enrol_device(Keeper.objects.get(pk=given["keeper"]), "insider", timezone.now())
print(device.pk, token)
"""
"""A device of somebody else's, with no letter: straight into the tables."""
WRITE = """
from datetime import datetime
from uuid import UUID
from django.db import connection, transaction
from scalewitness.ledger.services.writing import Draft, Writer
with connection.cursor() as cursor:
    cursor.execute("SELECT current_user")
    assert cursor.fetchone() == ("scalewitness_app",)
with transaction.atomic():
    writer = Writer()
    for one in given["items"]:
        at = datetime.fromisoformat(one["at"])
        writer.add(Draft(UUID(one["id"]), one["kind"], UUID(given["keeper"]), None, at,
            UUID(one["about"]), one["body"]), at)
    writer.flush()
"""
"""Entries in somebody else's name, past all rules: straight into the log."""
STATE = """
import msgspec
from django.db import transaction
from django.utils import timezone
from scalewitness.domain.facts import StandingChanged
from scalewitness.intake.batch import Batch
from scalewitness.intake.statements import RECORD
from scalewitness.ledger.queries.entries import entry_at, leaf_of
from scalewitness.standings.models import Standing
from scalewitness.standings.services import standing_row
latest = Standing.objects.filter(animal=given["animal"]).latest("position")
body = msgspec.convert(leaf_of(entry_at(latest.position)).body | given["says"], StandingChanged)
with transaction.atomic():
    batch = Batch(RECORD, timezone.now())
    batch.keep(Standing, standing_row(batch.state("standing_changed", latest.animal_id, body)))
    batch.flush()
"""
"""A standing that nothing follows to, stated by the record's own code: log and tables agree."""
GIVE = """
from uuid import UUID
from django.utils import timezone
from scalewitness.intake.batch import Actor
from scalewitness.intake.services import accept
page = Actor(keeper=UUID(given["keeper"]), proved=True)
(outcome,) = accept([given["notice"]], page, timezone.now())
assert outcome.status == "accepted", outcome
"""
"""As whoever gave the password on the page."""
Insider = Callable[[str, Any], str]


@pytest.fixture
def insider(room: Room, services: Services) -> Insider:
    """Runs Python with the application's settings, on the role that serves the pages."""
    path = urlsplit(room.stack.environment["DATABASE_URL"]).path
    url = urlsplit(services.app_url)._replace(path=path).geturl()
    environment = {**os.environ, **room.stack.environment, "DATABASE_URL": url}

    def run(code: str, given: Any) -> str:
        whole = f"import json\ngiven = json.loads({json.dumps(json.dumps(given))})\n{code}"
        command = [sys.executable, "-m", "scalewitness", "shell", "--no-imports", "-c", whole]
        done = subprocess.run(command, env=environment, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
        return done.stdout

    return run


@pytest.fixture
def odile(room: Room) -> Machine:
    """With an animal, and nothing in doubt so far."""
    made = room.at_work("odile")
    new_animal(made, "N1")
    made.sync()
    for one in alarms(made):
        made.run("in-my-name", "--mine", one["fact"])
    assert alarms(made) == []
    return made


def alarms(machine: Machine, status: int | None = None) -> list[dict[str, Any]]:
    answer = machine.run("alarms", "--json")
    assert status in {None, answer.status}
    return [json.loads(one) for one in answer.out.splitlines()]


def call(machine: Machine) -> dict[str, Any]:
    (animal,) = machine.rows("SELECT id FROM animal WHERE content LIKE '%N1%'")
    return envelope("call_made", animal[0], probing("female", "N1"))


class Intruder:
    """A device slipped in beside the pages, in the keeper's name."""

    def __init__(self, insider: Insider, machine: Machine) -> None:
        self.keeper = machine.api.get("keepers/me").json()["id"]
        self.device, token = insider(ENROL, {"keeper": self.keeper}).split()
        self.key = DeviceKey(Ed25519PrivateKey.generate(), keeper=self.keeper, device=self.device)
        self._headers = {"Authorization": f"Bearer {token}"}
        self._base = machine.api.base_url

    def post(self, path: str, content: Any) -> httpx.Response:
        address = self._base.join(path)
        return httpx.post(address, headers=self._headers, json=content, timeout=ENOUGH)

    def enrol(self) -> None:
        sent = self.key.enrolment(fresh_id(), moment_now().isoformat())
        self.post(f"devices/{self.device}/key", sent).raise_for_status()

    def push(self, item: dict[str, Any]) -> dict[str, Any]:
        answer = self.post("push", {"items": [item]}).raise_for_status()
        (outcome,) = answer.json()["items"]
        found: dict[str, Any] = outcome
        return found


def test_without_the_rule_the_keepers_command_shows_it(odile: Machine, insider: Insider) -> None:
    intruder, said = Intruder(insider, odile), call(odile)
    assert intruder.push(said)["status"] == "accepted"
    assert odile.sync()["in_my_name"] == 1
    (found,) = alarms(odile, 1)
    assert (found["fact"], found["why"], found["device"]) == (
        said["id"], "unsigned", intruder.device,
    )  # fmt: skip
    assert json.loads(found["leaf"])["body"]["conclusion"] == "female"
    assert "TO CONFIRM" in odile.run("alarms").out


def test_a_key_of_their_own_does_not_help_them(odile: Machine, insider: Insider) -> None:
    intruder = Intruder(insider, odile)
    intruder.enrol()
    said = intruder.key.signed(call(odile))
    assert intruder.push(said)["status"] == "accepted"
    odile.sync()
    found = alarms(odile, 1)
    assert [one["kind"] for one in found] == ["device_key_enrolled", "call_made"]
    assert {one["why"] for one in found} == {"by_password"}


def test_with_the_rule_it_is_refused(odile: Machine, insider: Insider) -> None:
    said = call(odile)
    odile.well("require-signatures", "--yes")
    intruder = Intruder(insider, odile)
    refused = intruder.push(said)
    assert (refused["status"], refused["problem"]["code"]) == ("refused", "signature_required")
    intruder.enrol()
    waits = intruder.push(intruder.key.signed(said))
    assert waits["problem"]["code"] == "key_waits"
    lift = envelope("signatures_required", intruder.keeper, {"required": False})
    lifted = intruder.push(intruder.key.signed(lift))
    assert lifted["problem"]["code"] == "not_allowed"
    odile.sync()
    (found,) = alarms(odile, 1)
    assert (found["kind"], found["why"]) == ("device_key_enrolled", "by_password")
    odile.well("endorse", "insider", "--refuse")
    assert intruder.post("push", {"items": [said]}).status_code == 401


@pytest.mark.one_in(1)
def test_written_past_all_rules_it_is_proof(odile: Machine, insider: Insider) -> None:
    """The lifting they write is signed by nobody, so it lifts nothing for the keeper's command."""
    keeper, said = odile.api.get("keepers/me").json()["id"], call(odile)
    odile.well("require-signatures", "--yes")
    lift = envelope("signatures_required", keeper, {"required": False})
    insider(WRITE, {"keeper": keeper, "items": [lift, said]})
    done = odile.sync(status=1)
    assert (done["in_my_name"], done["forged"]) == (2, 2)
    found = alarms(odile, 1)
    assert [one["kind"] for one in found] == ["signatures_required", "call_made"]
    assert {(one["why"], one["forged"]) for one in found} == {("unsigned_ruled", True)}
    assert "ALARM" in odile.run("alarms").out


def test_notice_that_all_devices_are_lost_is_alarmed_and_stopped(
    odile: Machine, insider: Insider
) -> None:
    odile.well("require-signatures", "--yes")
    none = odile.run("require-signatures", "--stop-notice")
    assert (none.status, "No notice runs" in none.err) == (1, True)
    keeper = odile.api.get("keepers/me").json()["id"]
    notice = envelope("signing_notice_given", keeper, {})
    insider(GIVE, {"keeper": keeper, "notice": notice})
    done = odile.sync()
    assert (done["in_my_name"], done["forged"]) == (1, 0)
    (found,) = alarms(odile, 1)
    assert (found["fact"], found["why"]) == (notice["id"], "notice")
    assert "--stop-notice" in odile.run("alarms").out
    assert odile.well("require-signatures", "--stop-notice")["stopped"] == notice["id"]
    assert odile.api.get("devices").json()["notice"] is None
    odile.run("acknowledge", found["alarm"], "--because", "stopped")
    odile.sync()
    assert alarms(odile, 0) == []


def test_a_keeper_whose_machine_is_lost_is_in_again_by_the_sheet(
    odile: Machine, room: Room
) -> None:
    """Whoever has the password signed every device out and gave notice."""
    odile.well("require-signatures", "--yes")
    sheet = odile.run("recovery-key", type="n\n")
    assert (sheet.status, "Recovery key of" in sheet.out) == (1, True)
    made = odile.well("recovery-key", "--yes")
    second = room.second_machine(odile)
    second.sign_in(room.log_key)
    words = made["words"].lower().replace("-", " ")
    wrong = second.run("recover", type=f"{words[:-1]}{'0' if words[-1] != '0' else '2'}\n")
    assert (wrong.status, "Group 8 of 8" in wrong.err) == (1, True)
    strange = second.run("recover", type=f"{spelled(bytes(20))}\n")
    assert "is no recovery key of yours" in strange.err
    done = json.loads(second.run("recover", "--json", type=f"{words}\n").out)
    assert done["kind"] == "device_key_endorsed"
    second.well("require-signatures", "--no-wait", "--yes")
    odile.sync()
    found = alarms(odile, 1)
    assert [(one["kind"], one["why"], one["forged"]) for one in found] == [
        ("device_key_endorsed", "recovery", False)
    ]
    second.well("revoke-device", made["device"])
    sent, _ = second.well("sent-by", made["device"], "--since", "2026-01-01")
    assert (sent["kind"], sent["signed"]) == ("device_key_endorsed", True)
    assert sent["page"].endswith(f"/receipts/{sent['id']}")
    assert second.run("sent-by", made["device"], "--since", "2999-01-01").out == "Nothing.\n"
    gone = second.run("recover", "--lift", type=f"{words}\n")
    assert (gone.status, "It was revoked in the log" in gone.err) == (1, True)


def test_a_keepers_second_machine_is_endorsed_by_comparing_keys(odile: Machine, room: Room) -> None:
    odile.well("require-signatures", "--yes")
    second = room.second_machine(odile)
    shown = second.sign_in(room.log_key)
    waiting = odile.well("endorse")
    assert [one["id"] for one in waiting] == [shown["device"]]
    wrong = odile.run("endorse", shown["device"], "--key", "00" * 16)
    assert (wrong.status, "The keys differ" in wrong.err) == (1, True)
    odile.well("endorse", shown["device"], "--key", shown["fingerprint"])
    assert odile.well("endorse") == []
    odile.sync()
    assert alarms(odile, 0) == []


def test_a_lost_machine_that_watched_is_revoked(odile: Machine, room: Room) -> None:
    ((token,),) = odile.rows("SELECT json_extract(content, '$.token') FROM identity")
    file = odile.home / "token"
    file.write_text(token)

    def watch() -> Answer:
        return odile.run("witness", odile.url, "--key", room.log_key, "--token-file", str(file))

    assert watch().status == 0
    (one,) = odile.well("revoke-witness")
    assert (one["revoked_from"], one["size"] > 0) == (None, True)
    name = one["key"].partition("+")[0]
    assert odile.run("revoke-witness", "nobody").status == 1
    position = odile.well("revoke-witness", name[-8:])["position"]
    (one,) = odile.well("revoke-witness")
    assert one["revoked_from"] == position + 1
    odile.sync()
    new_animal(odile, "N2")
    odile.sync()
    late = watch()
    assert (late.status, "was revoked" in late.out) == (3, True)
    trusted = odile.home / ".config" / "scalewitness" / "keys"
    trusted.write_text(f"{trusted.read_text()}{one['key']}\n")
    odile.sync()
    assert one["key"] in "".join(path.read_text() for path in odile.home.rglob(FILE))


def test_signing_out_ends_the_key_by_its_own_signature(odile: Machine) -> None:
    odile.well("require-signatures", "--yes")
    odile.sync()
    ((device,),) = odile.rows("SELECT json_extract(content, '$.device') FROM identity")
    odile.well("sign-out")
    found = odile.api.get("devices").json()["items"]
    (one,) = [one for one in found if one["id"] == device]
    assert one["key"]["revoked_position"] is not None


@pytest.mark.one_in(1)
def test_a_forged_standing_is_named_by_the_command_of_whoever_sees_it(
    odile: Machine, insider: Insider
) -> None:
    odile.check("N1")
    assert odile.sync()["recomputed"] == 1
    told = odile.run("show", "N1").out
    assert "The standing was computed again here, with the same result." in told
    taken = (
        "It took the call as not blind, with an interest, of an animal known by the tag of its tub"
    )
    assert taken in " ".join(told.split())
    ((animal,),) = odile.rows("SELECT about FROM fact WHERE content LIKE '%standing_changed%'")
    forged = {"label": "verified male", "p_male": "0.997000", "p_male_pessimistic": "0.990000"}
    insider(STATE, {"animal": animal, "says": forged})
    found = odile.sync(status=1)
    assert found["alarm"]
    said = odile.run("alarms").out
    assert f"animal {animal}: the standing shown, verified male with a chance of male of" in said
    assert "does not follow from the record, which comes to probable male with" in said
