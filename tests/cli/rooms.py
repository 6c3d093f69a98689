"""A running server with keepers at it, each machine a home folder with the command in it."""

import json
import sqlite3
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx
import redis
from tests.cli.loaded import Loaded
from tests.cli.test_verify import environment
from tests.journeys.test_crashes import collection_with_animal, envelope, fresh_id, rfc3339_at
from tests.stacks import vouch
from tests.waiting import ENOUGH
from tests.world import PASSWORD

from stack.local import LocalStack

Fact = dict[str, Any]
OTHER_CLOCK = """
import sys, time
off, fast = float(sys.argv.pop(1)), float(sys.argv.pop(1))
right, since, rest = time.time, time.monotonic, time.sleep
time.time = lambda: right() + off
time.monotonic = lambda: since() * fast
time.sleep = lambda seconds: rest(seconds / fast)
from scalewitness_cli.main import cli
cli(prog_name="scalewitness")
"""
"""The command on a computer whose clock is off (how long ago it was started is not), or whose
waits are soon over."""


@dataclass
class Answer:
    status: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        assert self.out.strip(), self.err
        return json.loads(self.out)


@dataclass
class Machine:
    """One keeper's computer. ``url``: the server, or what stands in its way."""

    home: Path
    url: str
    email: str
    api: httpx.Client
    """As a browser of the same keeper's, to look and to do what the command does not."""
    forget_throttles: Callable[[], object]
    loaded: Loaded
    collection: str = ""
    more: dict[str, str] = field(default_factory=dict)
    clock: float = 0.0
    """Seconds by which this computer's is ahead."""
    fast: float = 1.0
    """How many times sooner than told the command's own waits are over."""

    @property
    def command(self) -> list[str]:
        """What starts the command here, by this computer's clock."""
        if (self.clock, self.fast) == (0.0, 1.0):
            return [sys.executable, "-m", "scalewitness_cli"]
        return [sys.executable, "-c", OTHER_CLOCK, str(self.clock), str(self.fast)]

    @property
    def env(self) -> dict[str, str]:
        given = {
            "HOME": str(self.home),
            "SCALEWITNESS_PASSWORD": PASSWORD,
            "PYTHONWARNINGS": "error",
        }
        return environment() | given | self.more

    def run(self, *arguments: str, type: str = "") -> Answer:
        """The command in a process of its own."""
        status, out, err = self.loaded.run(
            arguments, self.home, self.env, type, self.clock, self.fast
        )
        assert "Traceback" not in err, err
        return Answer(status, out, err)

    def well(self, *arguments: str, status: int = 0) -> Any:
        """What the command says as JSON, having ended so."""
        answer = self.run(*arguments, "--json")
        assert answer.status == status, (arguments, answer)
        return answer.json

    def sign_in(self, key: str = "") -> Any:
        self.forget_throttles()
        trust = ("--log-key", key) if key else ("--no-log-key",)
        return self.well("sign-in", self.url, "--email", self.email, "--device", "rack", *trust)

    def check(self, animal: str, *more: str, status: int = 0) -> Any:
        flags = (
            "--left 9:resistance --right 8.5:choice --conclusion male --sureness fairly_sure "
            f"--identified tag:{animal} --held-by second_person"
        ).split()
        return self.well("check", animal, *flags, *more, status=status)

    def sync(self, *more: str, status: int = 0) -> Any:
        return self.well("sync", *more, status=status)

    @property
    def store(self) -> Path:
        (found,) = (self.home / ".local/share/scalewitness/servers").glob("*/store.sqlite")
        return found

    def rows(self, sql: str) -> list[tuple[Any, ...]]:
        connection = sqlite3.connect(self.store)
        try:
            return connection.execute(sql).fetchall()
        finally:
            connection.close()

    def tamper(self, sql: str) -> None:
        connection = sqlite3.connect(self.store)
        try:
            connection.execute(sql)
            connection.commit()
        finally:
            connection.close()

    def holds(self, text: str) -> bool:
        """Whether any file of the store holds this text anywhere."""
        return any(text.encode() in one.read_bytes() for one in self.store.parent.iterdir())


@dataclass
class Room:
    """The server, and keepers as needed."""

    stack: LocalStack
    folder: Path
    clients: list[httpx.Client] = field(default_factory=list)
    made: int = 0
    spare: str = ""
    """The address of an empty database."""
    log_key_before: str = ""

    def __post_init__(self) -> None:
        self.loaded = Loaded(self.folder / "loaded", environment() | {"PYTHONWARNINGS": "error"})

    def forget_throttles(self) -> None:
        """All sign in from one address here, far oftener than people do."""
        with redis.from_url(self.stack.environment["REDIS_URL"]) as queue:
            queue.flushall()

    @property
    def log_key(self) -> str:
        return str(httpx.get(f"{self.stack.url}/api/v1/log/checkpoint").json()["key"])

    def keeper(self, name: str, url: str = "") -> Machine:
        """Signed up and confirmed, with a machine of their own that is not signed in yet."""
        self.forget_throttles()
        self.made += 1
        email = f"{name}{self.made}@keepers.example"
        base = f"{self.stack.url}/api/v1/"
        with httpx.Client(base_url=base, timeout=ENOUGH) as anyone:
            said = {"name": name.title(), "email": email, "password": PASSWORD}
            anyone.post("keepers", json=said).raise_for_status()
            device = {"email": email, "password": PASSWORD, "name": "browser"}
            token = anyone.post("devices", json=device).raise_for_status().json()["token"]
        headers = {"Authorization": f"Bearer {token}"}
        api = httpx.Client(base_url=base, headers=headers, timeout=ENOUGH)
        self.clients.append(api)
        made = self.machine(name, url or self.stack.url, email, api)
        vouch(self.stack, email)
        return made

    def machine(self, name: str, url: str, email: str, api: httpx.Client) -> Machine:
        self.made += 1
        home = self.folder / f"{name}-{self.made}"
        home.mkdir()
        return Machine(home, url, email, api, self.forget_throttles, self.loaded)

    def at_work(self, name: str, url: str = "") -> Machine:
        """A keeper with a collection, signed in and synced."""
        made = self.keeper(name, url)
        made.collection, _ = collection_with_animal(made.api)
        made.sign_in(self.log_key)
        made.sync()
        return made

    def second_machine(self, one: Machine) -> Machine:
        return self.machine("second", one.url, one.email, one.api)

    def close(self) -> None:
        self.loaded.close()
        for one in self.clients:
            one.close()


def push(api: httpx.Client, *items: Fact) -> list[Fact]:
    answer = api.post("push", json={"items": list(items)}).raise_for_status().json()["items"]
    assert all(one["status"] == "accepted" for one in answer), answer
    return list(answer)


def new_animal(keeper: Machine, tag: str) -> str:
    """Registered by the keeper's browser; its id."""
    animal = fresh_id()
    registered = {"collection": keeper.collection, "species": "python_regius"}
    push(
        keeper.api,
        envelope("animal_registered", animal, registered),
        envelope("identifier_assigned", animal, {"scheme": "tag", "code": tag}),
    )
    return animal


def invite(host: Machine, guest: Machine, animal: str, opens: float = -60.0) -> str:
    """An accepted visit that has been open for a minute, or ``opens`` in so many seconds;
    its id."""
    visit = fresh_id()
    now = time.time()
    body = {
        "collection": host.collection,
        "guest": guest.api.get("keepers/me").json()["id"],
        "animals": [animal],
        "opens": rfc3339_at(now + opens),
        "closes": rfc3339_at(now + 86_400),
    }
    push(host.api, envelope("visit_invited", visit, body))
    push(guest.api, envelope("visit_accepted", visit, {}))
    return visit


__all__ = ["Machine", "Room", "envelope", "fresh_id", "invite", "new_animal", "push"]
