"""What every story needs: people, animals, facts, and promises held against what was seen."""

import os
import time
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from fixtures_demo.accounts import Device, confirm, have_verified, operate, sign_in, sign_up
from fixtures_demo.letters import Letters
from fixtures_demo.scenario import Scenario
from scalewitness.domain.ids import uuid7
from scalewitness.domain.moments import rfc3339
from scalewitness_cli.remote import Api, Json, Refusal

PASSWORD = "stories-are-public-1"


class Broken(Exception):
    """A promise that was not kept."""


def fresh_id() -> str:
    """A UUIDv7 of now."""
    return str(uuid7(time.time_ns() // 1_000_000, os.urandom(10)))


def now() -> datetime:
    return datetime.fromtimestamp(time.time(), UTC)


def fact(body: Json, about: str | None = None, **texts: str) -> dict[str, Any]:
    """An envelope for a POST, with an id and a time of its own, so that it can be repeated."""
    built: dict[str, Any] = {"id": fresh_id(), "at": rfc3339(now()), "body": body}
    if about is not None:
        built["about"] = about
    return built | ({"texts": texts} if texts else {})


@dataclass(frozen=True)
class Person:
    """A keeper of this run, signed in."""

    id: str
    name: str
    email: str
    device: Device

    @property
    def api(self) -> Api:
        return self.device.api

    def signed(self, kind: str, about: str, fact: dict[str, Any]) -> dict[str, Any]:
        """An envelope for a path that says kind and subject, signed on this device."""
        if self.device.key is None:
            raise Broken("promised: everyone's device has a key; seen: none")
        signed = self.device.key.signed(fact | {"kind": kind, "about": about})
        return {name: signed[name] for name in signed if name not in {"kind", "about"}}

    def sign_out(self) -> None:
        self.api.delete(f"devices/{self.device.id}")


@dataclass(frozen=True)
class Snake:
    """An animal of this run, with the codes it is told apart by."""

    id: str
    name: str
    tag: str
    transponder: str

    def probed(
        self, conclusion: str, left: str, right: str, visit: str | None = None, **more: Json
    ) -> Json:
        """The body of a call: probed on both sides, transponder read."""
        passes = [
            {"side": "left", "depth": left, "stopped": "resistance"},
            {"side": "right", "depth": right, "stopped": "resistance"},
        ]
        body = {
            "conclusion": conclusion,
            "sureness": "certain",
            "observed": {"method": "probing", "probe_mm": "1.6", "passes": passes},
            "identified": {"by": "transponder", "code": self.transponder},
            "held_by": "second_person",
        }
        return body | ({"visit": visit} if visit else {}) | more


@dataclass
class Stage:
    """One run. ``run`` tells its people and animals from those of any other."""

    url: str
    letters: Letters
    run: str
    steps: int = 0

    def title(self, text: str) -> None:
        print(f"\n{text}", flush=True)

    def saw(self, text: str) -> None:
        """A step that went as promised."""
        self.steps += 1
        print(f"  {self.steps:2}  {text}", flush=True)

    def require(self, kept: bool, promise: str, seen: Json) -> None:
        """Raises Broken unless the promise was kept."""
        if not kept:
            raise Broken(f"promised: {promise}; seen: {seen}")

    def only(self, found: list[Json], promise: str) -> Json:
        """The one item there must be. Raises Broken when there are more or none."""
        self.require(len(found) == 1, promise, found)
        return found[0]

    def refused(self, ask: Any, status: int, code: str, promise: str) -> Refusal:
        """Call ``ask`` and expect this refusal. Raises Broken when it is another or none."""
        try:
            answer = ask()
        except Refusal as refusal:
            self.require((refusal.status, refusal.code) == (status, code), promise, refusal)
            return refusal
        raise Broken(f"promised: {promise}; it was not refused: {answer}")

    def person(self, name: str) -> Person:
        first, last = name.lower().split()
        email = f"{first}.{self.run}@{last}.example"
        sign_up(self.url, name, email, PASSWORD)
        confirm(self.letters.wait(email, "confirm_address").link("confirm-email"), PASSWORD)
        device = sign_in(self.url, email, PASSWORD, f"story {self.run}")
        device = device.with_key(fresh_id(), rfc3339(now()))
        return Person(str(device.api.get("keepers/me")["id"]), name, email, device)

    def found(self) -> list[Person]:
        """Two of the demo's founders, who know the cast; the operator names them where nobody has
        yet."""
        founders = Scenario().founders
        for one in founders:
            sign_up(self.url, one.name, one.email, one.password)
        devices = [
            sign_in(self.url, one.email, one.password, f"story {self.run}") for one in founders
        ]
        signed_in = list(zip(founders, devices, strict=True))
        have_verified({one.email: device.api for one, device in signed_in})
        operate("name_founders", *(one.email for one in founders))
        return [
            Person(str(device.api.get("keepers/me")["id"]), one.name, one.email, device)
            for one, device in signed_in
        ]

    def vouch(self, known: Person, about: Person) -> None:
        envelope = {"id": fresh_id(), "kind": "keeper_vouched", "at": rfc3339(now())}
        known.api.push([envelope | {"about": about.id, "body": {}}])

    def visit(self, host: Person, guest: Person, collection: str, snakes: list[Snake]) -> str:
        """A blind visit for the coming two days; the guest still has to answer."""
        visit = fresh_id()
        body = {
            "collection": collection,
            "guest": guest.id,
            "animals": [snake.id for snake in snakes],
            "opens": rfc3339(now() - timedelta(minutes=1)),
            "closes": rfc3339(now() + timedelta(days=2)),
        }
        host.api.post("visits", fact(body, visit))
        return visit

    def accept(self, guest: Person, visit: str) -> None:
        answer = {"id": fresh_id(), "at": rfc3339(now()), "accepted": True}
        guest.api.post(f"visits/{visit}/answer", answer)
