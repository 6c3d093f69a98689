"""Whatever happens between several clients and the server, nothing said is lost or doubled, the
clients come to agree, and nobody blind held an earlier call. Promises 1, 2, 4 and 5.

A state machine (Hypothesis) plays a host with two devices, a blind guest with two, and a
viewer with one, on the real server: offline spells, lost requests and answers, a server's
faults, deaths in the middle of a sync, repeats, other orders, clocks that are wrong, visits and
grants that come and go.
"""

import os
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import psycopg
import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)
from tests.cli.devices import Device, Died
from tests.cli.meddler import Meddler, cut_the_answer, cut_the_request, meddling, saying
from tests.cli.rooms import Machine, Room, envelope, fresh_id, new_animal, push
from tests.journeys.test_crashes import rfc3339_at
from tests.world import probing

from scalewitness_cli.identity import need_identity
from scalewitness_cli.remote import Unreachable

EXAMPLES = int(os.environ.get("HISTORIES", "2"))
"""How many histories are played; more by hand."""
STEPS = 20
TAGS = ("A", "B", "C")
HOUR = 3600.0
DEVICES = ("host-1", "host-2", "guest-1", "guest-2", "viewer-1")
DEATHS = ("begin", "sending", "answered", "settled", "fetched", "page stored", "sheets stored")
LINES = {
    "push lost": ("/push", cut_the_request),
    "outcome lost": ("/push", cut_the_answer),
    "fault at a push": ("/push", saying(500, "server_error")),
    "page lost": ("/changes", cut_the_answer),
    "fault at a page": ("/changes", saying(503, "unavailable")),
    "sheet lost": ("/sheet", cut_the_answer),
}

devices = st.sampled_from(DEVICES)
tags = st.sampled_from(TAGS)
some_tags = st.sets(tags, min_size=1)
sexes = st.sampled_from(("male", "female"))


def die_at(wanted: str, step: str) -> None:
    if step == wanted:
        raise Died


@dataclass(frozen=True)
class Cast:
    """Who plays in every history; each has animals of its own."""

    room: Room
    meddler: Meddler
    host: Machine
    guest: Machine
    viewer: Machine


class Histories(RuleBasedStateMachine):
    """``said``: of every fact and edit stored on a device, on which one. ``secrets``: what
    tells of calls that the blind guest must not hold, by animal."""

    def __init__(self, cast: Cast) -> None:
        super().__init__()
        self.room, self.meddler = cast.room, cast.meddler
        self.host, self.guest, self.viewer = cast.host, cast.guest, cast.viewer
        self.folder = TemporaryDirectory()
        self.devices: dict[str, Device] = {}
        self.animals: dict[str, str] = {}
        self.said: dict[str, str] = {}
        self.secrets: dict[str, list[bytes]] = {}
        self.told: set[str] = set()
        self.from_browsers = 0
        self.visits: list[str] = []
        self.grants: dict[str, set[str]] = {}

    @initialize()
    def animals_and_devices(self) -> None:
        self.room.forget_throttles()
        self.host.collection = fresh_id()
        body = {"id": self.host.collection, "name": "Room"}
        self.host.api.post("collections", json=body).raise_for_status()
        self.animals = {tag: new_animal(self.host, tag) for tag in TAGS}
        self.secrets = {animal: [] for animal in self.animals.values()}
        for tag in TAGS:
            self.host_calls(tag, "female")
        self.invite({"A", "B"})
        self.let_in({"A"})
        for name in DEVICES:
            keeper: Machine = getattr(self, name.partition("-")[0])
            self.devices[name] = Device(keeper, Path(self.folder.name, name), self.meddler)
        self.look_then_check("guest-1", "A", "male")

    def teardown(self) -> None:
        try:
            if self.devices:
                self.everyone_syncs()
                self.no_blind_device_holds_an_earlier_call()
                self.nothing_was_lost_or_doubled()
                self.all_agree()
        finally:
            for one in self.devices.values():
                one.close()
            self.folder.cleanup()

    # --- at the racks -----------------------------------------------------------------

    @rule(name=devices, tag=tags, sex=sexes, hours=st.sampled_from((0.0, 0.0, -9.0, 9.0, -900.0)))
    def check(self, name: str, tag: str, sex: str, hours: float) -> None:
        device = self.devices[name]
        device.skew = hours * HOUR
        id = device.check(self.animals[tag], sex)
        self.said[id] = name
        if not name.startswith("guest"):
            self.secrets[self.animals[tag]].append(id.encode())

    @rule(name=st.sampled_from(("host-1", "host-2")), tag=tags, number=st.integers(0, 3))
    def rename(self, name: str, tag: str, number: int) -> None:
        if id := self.devices[name].rename(self.animals[tag], f"Name {number}"):
            self.said[id] = name

    @rule(name=devices, tag=tags, sex=sexes)
    def look_then_check(self, name: str, tag: str, sex: str) -> None:
        """As on a visit's day: the replica knows of the visit when the call is made."""
        self.sync(name)
        self.check(name, tag, sex, 0.0)

    @rule(name=devices)
    def sync(self, name: str) -> None:
        self.room.forget_throttles()
        self.devices[name].sync()
        self.look_who_was_told()
        self.send_again(name)

    def send_again(self, name: str) -> None:
        """Everything accepted, as after an answer that came late: it is known, where it is."""
        device = self.devices[name]
        done = [one for one in device.outbox().values() if one.state == "accepted"]
        outcomes = device.send_raw(done) if done else []
        assert [(one["status"], one.get("position")) for one in outcomes] == [
            ("duplicate", one.position) for one in done
        ]

    @rule(name=devices, line=st.sampled_from(sorted(LINES)))
    def sync_on_a_bad_line(self, name: str, line: str) -> None:
        self.room.forget_throttles()
        path, trick = LINES[line]
        self.meddler.play(path, trick, trick)
        with suppress(Unreachable):
            self.devices[name].sync()
        self.meddler.tricks.clear()
        self.look_who_was_told()

    @rule(name=devices, step=st.sampled_from(DEATHS))
    def die_in_a_sync(self, name: str, step: str) -> None:
        self.room.forget_throttles()
        with suppress(Died):
            self.devices[name].sync(partial(die_at, step))
        self.devices[name].reopen()
        self.look_who_was_told()

    @rule(name=devices)
    def send_in_another_order(self, name: str) -> None:
        """And hear nothing of it."""
        device = self.devices[name]
        waiting = [one for one in device.outbox().values() if one.state == "waiting"]
        facts = [one for one in waiting if one.what == "fact"]
        if len(facts) > 1:
            device.send_raw(facts[::-1])
            self.look_who_was_told()

    # --- who may see what -------------------------------------------------------------

    @rule(tag=tags, sex=sexes)
    def host_calls(self, tag: str, sex: str) -> None:
        """From the host's browser; its note is a word that nothing else holds."""
        animal, word = self.animals[tag], f"word{fresh_id()}"
        made = envelope("call_made", animal, probing(sex)) | {"texts": {"note": word}}
        push(self.host.api, made)
        self.from_browsers += 1
        self.secrets[animal] += [made["id"].encode(), word.encode()]

    @rule(chosen=some_tags)
    def invite(self, chosen: set[str]) -> None:
        visit, now = fresh_id(), time.time()
        body = {
            "collection": self.host.collection,
            "guest": self.guest.api.get("keepers/me").json()["id"],
            "animals": sorted(self.animals[tag] for tag in chosen),
            "opens": rfc3339_at(now - 60),
            "closes": rfc3339_at(now + 24 * HOUR),
            "blind": True,
        }
        push(self.host.api, envelope("visit_invited", visit, body))
        push(self.guest.api, envelope("visit_accepted", visit, {}))
        self.visits.append(visit)

    @precondition(lambda self: self.visits)
    @rule(number=st.integers(0, 9))
    def call_off(self, number: int) -> None:
        visit = self.visits.pop(number % len(self.visits))
        push(self.host.api, envelope("visit_cancelled", visit, {}))

    @rule(chosen=some_tags)
    def let_in(self, chosen: set[str]) -> None:
        animals = sorted(self.animals[tag] for tag in chosen)
        to = self.viewer.api.get("keepers/me").json()["id"]
        body = {"to": to, "role": "viewer", "animals": animals}
        given = envelope("grant_given", self.host.collection, body)
        push(self.host.api, given)
        self.grants[given["id"]] = set(animals)

    @precondition(lambda self: self.grants)
    @rule(number=st.integers(0, 9))
    def let_out(self, number: int) -> None:
        grant = sorted(self.grants)[number % len(self.grants)]
        del self.grants[grant]
        body = {"grant": grant}
        push(self.host.api, envelope("grant_revoked", self.host.collection, body))

    # --- what must always be so -------------------------------------------------------

    def look_who_was_told(self) -> None:
        """A call of the guest's own in the log lets them see the animal whole."""
        with psycopg.connect(self.room.stack.owner_url) as connection:
            rows = connection.execute(
                "SELECT DISTINCT about::text FROM ledger_entry WHERE kind = 'call_made' "
                "AND fact = ANY(%s)",
                ([id for id, name in self.said.items() if name.startswith("guest")],),
            ).fetchall()
        self.told = {about for (about,) in rows}

    @invariant()
    def no_blind_device_holds_an_earlier_call(self) -> None:
        for name, device in self.devices.items():
            held = device.raw() if name.startswith("guest") else b""
            for animal, secrets in self.secrets.items():
                if animal not in self.told:
                    assert not [one for one in secrets if one in held], (name, animal)

    @invariant()
    def everything_said_is_here(self) -> None:
        for name, device in self.devices.items():
            said = {id for id, by in self.said.items() if by == name}
            assert said <= device.outbox().keys(), name

    # --- what must be so in the end ---------------------------------------------------

    def everyone_syncs(self) -> None:
        self.meddler.tricks.clear()
        for _ in range(2):
            self.room.forget_throttles()
            for device in self.devices.values():
                device.sync()
        self.look_who_was_told()

    def nothing_was_lost_or_doubled(self) -> None:
        log = self.log()
        logged = {id: (position, by) for id, position, by in log}
        for id, name in self.said.items():
            item = self.devices[name].outbox()[id]
            if item.what == "edit":
                assert item.state in {"accepted", "conflict"}, item
            elif item.state == "accepted":
                assert logged[id] == (
                    item.position,
                    need_identity(self.devices[name].store).keeper,
                ), item
            else:
                assert item.state in {"held", "refused"}, item
                assert item.answer, item
                assert id not in logged

        made_here = sum(id in logged for id in self.said)
        assert made_here + self.from_browsers == len(log)

    def log(self) -> list[tuple[str, int, str]]:
        with psycopg.connect(self.room.stack.owner_url) as connection:
            return connection.execute(
                'SELECT fact::text, position, "by"::text FROM ledger_entry '
                "WHERE kind = 'call_made' AND about = ANY(%s)",
                (list(self.animals.values()),),
            ).fetchall()

    def all_agree(self) -> None:
        for name, device in self.devices.items():
            shown = self.shown_to(device.keeper)
            assert device.animals() == shown, name
            for id, one in shown.items():
                facts = device.facts(id)
                calls = [x["entry"]["id"] for x in facts if x["entry"]["kind"] == "call_made"]
                if one["sight"] == "all":
                    found = device.keeper.api.get(f"animals/{id}/calls").json()["items"]
                    assert calls == [call["id"] for call in found], name
                twin = self.devices.get(name.replace("-2", "-1"), device)
                assert twin.facts(id) == facts, name
        seen = set().union(*self.grants.values())
        held = self.devices["viewer-1"].animals().keys()
        assert held & set(self.animals.values()) == seen

    def shown_to(self, keeper: Machine) -> dict[str, Any]:
        found = keeper.api.get("animals", params={"limit": 100}).raise_for_status().json()
        return {one["id"]: one for one in found["items"]}


@pytest.fixture(scope="module")
def cast(room: Room) -> Iterator[Cast]:
    people = [room.keeper(name) for name in ("host", "guest", "viewer")]
    with meddling(room.stack.url) as meddler:
        yield Cast(room, meddler, *people)


def test_whatever_happens(cast: Cast) -> None:
    run_state_machine_as_test(
        partial(Histories, cast),
        settings=settings(
            max_examples=EXAMPLES,
            stateful_step_count=STEPS,
            # Each history takes a second or two; making it shorter would take minutes.
            phases=[Phase.explicit, Phase.reuse, Phase.generate],
            suppress_health_check=list(HealthCheck),
        ),
    )
