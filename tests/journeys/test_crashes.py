"""What a kill -9 may not do, on the whole running service: real PostgreSQL, Valkey,
gunicorn, Celery worker and SMTP."""

import os
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import Any

import httpx
import psycopg
import pytest
from tests.plugins.services import Services
from tests.stacks import Given, database_for, start, vouch
from tests.waiting import ENOUGH, eventually
from tests.world import PASSWORD, START, probing

from scalewitness.domain.ids import uuid7
from scalewitness.domain.moments import rfc3339
from stack.local import LocalStack
from stack.mailsink import Faults, MailSink
from stack.ready import free_port
from stack.supervisor import Supervisor

LEASE = 4
INVITATIONS = "FROM mail_letter WHERE kind = 'visit_invitation'"


def invitations(sink: MailSink) -> list[Any]:
    """Beside letters about their accounts that keepers have had."""
    kind = "X-Scalewitness-Letter"
    return [one for one in sink.messages() if one[kind] == "visit_invitation"]


def fresh_id() -> str:
    return str(uuid7(time.time_ns() // 1_000_000, os.urandom(10)))


class Service:
    """The running service in a folder of its own, sending its mail to ``sink``."""

    def __init__(
        self, supervisor: Supervisor, folder: Path, sink: MailSink, database: Given
    ) -> None:
        self.supervisor = supervisor
        given = database | {"EMAIL_URL": sink.url}
        self.stack = LocalStack(supervisor, folder, free_port(), given)
        self.stack.environment["MAIL_LEASE_SECONDS"] = str(LEASE)
        start(self.stack)
        self.clients = ExitStack()

    @cached_property
    def database(self) -> psycopg.Connection:
        """One for all looks: making a connection takes longer than what is asked by it."""
        url = self.stack.owner_url
        return self.clients.enter_context(psycopg.connect(url, autocommit=True))

    def rows(self, sql: str) -> list[tuple[Any, ...]]:
        return self.database.execute(sql.encode()).fetchall()

    def keeper(self, name: str) -> httpx.Client:
        """A signed-in client; the address is vouched for."""
        email = f"{name}@keepers.example"
        base = f"{self.stack.url}/api/v1/"
        with httpx.Client(base_url=base, timeout=ENOUGH) as anyone:
            signed_up = {"name": name.title(), "email": email, "password": PASSWORD}
            anyone.post("keepers", json=signed_up).raise_for_status()
            device = {"email": email, "password": PASSWORD, "name": "phone"}
            token = anyone.post("devices", json=device).raise_for_status().json()["token"]
        vouch(self.stack, email)
        headers = {"Authorization": f"Bearer {token}"}
        client = httpx.Client(base_url=base, headers=headers, timeout=ENOUGH)
        return self.clients.enter_context(client)


@pytest.fixture
def sink(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[MailSink]:
    with MailSink(tmp_path / "mail", faults=getattr(request, "param", Faults())) as running:
        yield running


@pytest.fixture
def service(
    services: Services, untouched_database: str, tmp_path: Path, sink: MailSink
) -> Iterator[Service]:
    with (
        database_for(services, untouched_database, "service") as database,
        Supervisor(tmp_path / "run", say=lambda name, text: None) as supervisor,
    ):
        running = Service(supervisor, tmp_path / "run", sink, database)
        with running.clients:
            yield running


def envelope(kind: str, about: str, body: dict[str, Any]) -> dict[str, Any]:
    return {"id": fresh_id(), "kind": kind, "at": rfc3339(START), "about": about, "body": body}


def collection_with_animal(odile: httpx.Client) -> tuple[str, str]:
    collection, animal = fresh_id(), fresh_id()
    odile.post("collections", json={"id": collection, "name": "Room"}).raise_for_status()
    registered = {"collection": collection, "species": "python_regius"}
    items = [
        envelope("animal_registered", animal, registered),
        envelope("identifier_assigned", animal, {"scheme": "tag", "code": "A1"}),
    ]
    answer = odile.post("push", json={"items": items}).raise_for_status().json()
    assert [item["status"] for item in answer["items"]] == ["accepted", "accepted"]
    return collection, animal


@pytest.mark.long("kills web after web; tests/intake/test_faults.py::test_failed_but_stored")
def test_kill_9_of_the_web_during_batches_loses_and_doubles_nothing(service: Service) -> None:
    odile = service.keeper("odile")
    _, animal = collection_with_animal(odile)
    batches = [
        [envelope("call_made", animal, probing("male", "A1")) for _ in range(10)] for _ in range(24)
    ]
    promised: dict[str, int] = {}

    def push(batch: list[dict[str, Any]]) -> bool:
        try:
            answer = odile.post("push", json={"items": batch})
        except httpx.HTTPError:
            return False
        if answer.status_code != 200:
            return False
        for item in answer.json()["items"]:
            promised[item["id"]] = item["position"]
        return True

    with ThreadPoolExecutor(4) as pool:
        pushes = [pool.submit(push, batch) for batch in batches]
        eventually(lambda: len(promised) >= 30, "the first answers")
        service.supervisor.kill("web")
        answered = [one.result() for one in pushes]
    assert False in answered, "the kill came too late to interrupt anything"
    before = dict(promised)

    service.stack.start_web()
    for batch in batches:
        assert push(batch)
    stored = {
        str(fact): position
        for fact, position in service.rows(
            "SELECT fact, position FROM ledger_entry WHERE kind = 'call_made'"
        )
    }
    sent = {item["id"] for batch in batches for item in batch}
    assert set(stored) == sent, "each sent call is in the log exactly once"
    assert stored == promised
    assert before.items() <= stored.items(), "a promised position held through the kill"
    assert service.rows("SELECT count(*) FROM calls_call") == [(len(sent),)]
    assert service.rows(
        "SELECT count(*), min(position), max(position) + 1 FROM ledger_entry"
    ) == service.rows("SELECT size, 0, size FROM ledger_head")
    service.stack.run("replay", "scalewitness", "replay")


def invite(odile: httpx.Client, greta: httpx.Client, collection: str, animal: str) -> None:
    guest = greta.get("keepers/me").raise_for_status().json()["id"]
    now = time.time()
    body = {
        "collection": collection,
        "guest": guest,
        "animals": [animal],
        "opens": rfc3339_at(now),
        "closes": rfc3339_at(now + 86_400),
    }
    answer = odile.post("push", json={"items": [envelope("visit_invited", fresh_id(), body)]})
    assert answer.json()["items"][0]["status"] == "accepted", answer.text


def rfc3339_at(seconds: float) -> str:
    return rfc3339(datetime.fromtimestamp(seconds, UTC))


@pytest.mark.long(
    "waits for a lease to run out; "
    "tests/mail/test_delivery.py::test_a_claim_is_exclusive_until_its_lease_runs_out"
)
@pytest.mark.parametrize("sink", [Faults(delay=2.0)], indirect=True)
def test_kill_9_of_the_worker_between_smtp_and_its_note_loses_no_letter(
    service: Service, sink: MailSink
) -> None:
    """The mail host has stored the letter and not yet answered: the worker dies there. The
    lease runs out and the same letter goes again, under the same Message-ID."""
    odile, greta = service.keeper("odile"), service.keeper("greta")
    collection, animal = collection_with_animal(odile)
    invite(odile, greta, collection, animal)
    eventually(lambda: bool(invitations(sink)), "the letter to reach the mail host")
    service.supervisor.kill("worker")
    assert service.rows(f"SELECT state, attempts {INVITATIONS}") == [("sending", 0)]

    service.stack.start_worker()
    eventually(
        lambda: service.rows(f"SELECT state {INVITATIONS}") == [("sent",)], "the letter again"
    )
    ids = Counter(message["Message-ID"] for message in invitations(sink))
    ((_, copies),) = ids.items()
    assert copies == 2


@pytest.mark.long(
    "a service of its own for a smaller accident; "
    "tests/journeys/test_incident.py::test_everyone_who_relied_on_it_hears_once"
)
def test_letters_wait_out_a_dead_worker_and_a_dead_broker(service: Service, sink: MailSink) -> None:
    odile, greta = service.keeper("odile"), service.keeper("greta")
    collection, animal = collection_with_animal(odile)
    service.supervisor.kill("worker")
    service.supervisor.kill("valkey")
    for _ in range(3):
        invite(odile, greta, collection, animal)
    waiting = f"SELECT count(*) {INVITATIONS} AND state = 'waiting'"
    assert service.rows(waiting) == [(3,)]
    assert invitations(sink) == []

    service.stack.start_queue()
    service.stack.start_worker()
    eventually(
        lambda: service.rows(f"SELECT count(*) {INVITATIONS} AND state = 'sent'") == [(3,)],
        "all three letters",
    )
    ids = Counter(message["Message-ID"] for message in invitations(sink))
    assert sorted(ids.values()) == [1, 1, 1]
