"""What a service and proxies write down of real requests, and whom they believe, as configured by
what comes along; and what the service counts of them."""

import http.client
import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from itertools import cycle
from pathlib import Path
from typing import Any
from urllib.parse import quote

import httpx
import psutil
import pytest
from django.conf import settings
from prometheus_client.parser import text_string_to_metric_families
from tests.addresses import secret_addresses
from tests.collector import Collector
from tests.plugins.services import Services
from tests.proxies import HOST, Proxy, caddy, nginx
from tests.stacks import database_for, start
from tests.waiting import eventually

from scalewitness.serving.traces import ENDPOINT
from scalewitness.serving.tracing import KEPT
from stack.local import LocalStack
from stack.ready import LOOPBACK, free_port
from stack.supervisor import Supervisor

pytestmark = pytest.mark.one_in(3)

SECRET = "NotByItsShape"


@pytest.fixture(scope="module")
def collector() -> Iterator[Collector]:
    with Collector.listening() as found:
        yield found


@pytest.fixture(scope="module")
def served(
    services: Services,
    untouched_database: str,
    tmp_path_factory: pytest.TempPathFactory,
    collector: Collector,
) -> Iterator[LocalStack]:
    folder = tmp_path_factory.mktemp("served")
    with (
        database_for(services, untouched_database, "served") as database,
        Supervisor(folder / "run", lambda name, text: None) as supervisor,
    ):
        local = LocalStack(supervisor, folder / "data", free_port(), database)
        local.environment["TRUSTED_PROXIES"] = "1"
        local.environment |= collector.environment
        start(local)
        yield local


def ask(port: int, path: str, headers: dict[str, str], method: str = "GET") -> int:
    connection = http.client.HTTPConnection(LOOPBACK, port, timeout=20)
    try:
        connection.request(method, path, headers=headers)
        return connection.getresponse().status
    finally:
        connection.close()


def ask_with_secrets(port: int) -> None:
    """Every address that holds a secret, and such an address as query and as referrer of others."""
    for address in secret_addresses(SECRET):
        ask(port, address, {"Referer": f"http://{LOOPBACK}:{port}{address}"})
        ask(port, f"/accounts/login/?next={quote(address, safe='')}&token={SECRET}", {})
    ask(port, f"/%6fffers/{SECRET}", {"Authorization": f"Bearer {SECRET}"}, "POST")
    ask(port, f"//offers/{SECRET}/offers/{SECRET}", {})


def logs_of(folder: Path) -> dict[str, str]:
    found = {one.name: one.read_text(errors="replace") for one in folder.rglob("*.log")}
    return {name: text for name, text in found.items() if text}


def lines_of(local: LocalStack, name: str) -> list[dict[str, Any]]:
    """Whatever a process wrote, and all of it is JSON."""
    whole, _, _ = local.supervisor.log(name).read_text().rpartition("\n")
    return [json.loads(line) for line in whole.splitlines()]


def requests_of(local: LocalStack) -> list[dict[str, Any]]:
    return [one for one in lines_of(local, "web") if one["event"] == "request"]


def ids_in(local: LocalStack) -> set[str]:
    return {one["request_id"] for one in requests_of(local)}


@pytest.mark.one_in(1)
def test_no_log_of_the_service_holds_a_secret_and_each_request_is_in_one(
    served: LocalStack,
) -> None:
    supervisor = served.supervisor
    ask_with_secrets(served.port)
    assert ask(served.port, f"/bad%20{SECRET}", {"X-Forwarded-For": "203.0.113.7"}) == 404
    expected = {
        ("GET", "/offers/<str:token>", 404),
        ("POST", "/offers/<str:token>", 404),
        ("GET", "/accounts/login/", 200),
        ("GET", "unmatched", 404),
    }
    eventually(  # a line is written after its answer
        lambda: (
            expected
            <= {(one["method"], one["route"], one["status"]) for one in requests_of(served)}
        ),
        "a line of each",
    )
    assert all(one["seconds"] > 0 for one in requests_of(served))
    members = set().union(*requests_of(served))
    assert members == {
        *("timestamp", "level", "logger", "event"),
        *("request_id", "method", "route", "status", "seconds", "keeper"),
    }
    assert lines_of(served, "worker")
    logs = logs_of(supervisor.folder)
    assert {"web.log", "worker.log"} <= set(logs)
    for secret in (SECRET, "203.0.113.7", "127.0.0.2"):
        assert [name for name, text in logs.items() if secret in text] == []


def test_a_request_is_followed_by_its_id_into_the_worker(served: LocalStack) -> None:
    """That of a letter which a stranger's sign-up asks for. The id is in the answer."""
    with httpx.Client(base_url=served.url) as client:
        person = {"email": "maren@oskarby.example", "password": "a wide and quiet river"}
        answer = client.post("/api/v1/keepers", json={"name": "Maren", **person})
        assert answer.status_code < 300, answer.text
        asked = answer.headers["X-Request-Id"]
        (line,) = eventually(
            lambda: [one for one in requests_of(served) if one["request_id"] == asked],
            "its own line",
        )
        assert (line["method"], line["route"]) == ("POST", "/api/v1/keepers")
        eventually(
            lambda: any(
                one["event"] == "task" and one["request_id"] == asked
                for one in lines_of(served, "worker")
            ),
            "the worker has a line of it",
        )
        letters = [one for one in lines_of(served, "worker") if one["event"] == "letter"]
        assert asked in {one["request_id"] for one in letters}
    assert not [text for text in logs_of(served.supervisor.folder).values() if "maren" in text]


def test_nobody_forges_a_line_or_joins_those_of_another(served: LocalStack) -> None:
    """By an id of their own; of those that are well formed the one of our proxy is believed, which
    sets it (`tests.proxies`)."""
    answered = []
    for given in ("x", '{"event": "request"}', "7" * 31, "7" * 32):
        with httpx.Client(base_url=served.url, headers={"X-Request-Id": given}) as client:
            answered.append(client.get("/health/live").headers["X-Request-Id"] == given)
    assert answered == [False, False, False, True]


def test_traces_tell_of_no_one(served: LocalStack, collector: Collector) -> None:
    """Neither a token, an address or a name; and their requests are found in the log."""
    ask_with_secrets(served.port)
    forged = "a" * 32
    headers = {"traceparent": f"00-{forged}-{forged[:16]}-01", "User-Agent": f"browser {SECRET}"}
    person = {"name": "Odile Oskarby", "email": "odile@oskarby.example", "password": "a wide river"}
    with httpx.Client(base_url=served.url, headers=headers) as client:
        answer = client.post("/api/v1/keepers", json=person)
        assert answer.status_code == 202, answer.text
    asked = answer.headers["X-Request-Id"]
    (root,) = eventually(
        lambda: [one for one in collector.spans() if one.attributes.get("request_id") == asked],
        "its span has come",
    )
    own = [one for one in collector.spans() if one.trace == root.trace]
    assert root.name == "POST api/v1/keepers"
    assert any("INSERT INTO" in str(one.attributes) for one in own), own
    eventually(
        lambda: [one for one in collector.spans() if "celery.task_name" in one.attributes],
        "the worker's have come",
    )
    assert set().union(*(one.attributes for one in collector.spans())) <= KEPT
    assert forged not in {one.trace for one in collector.spans()}
    told = collector.received()
    for anybodys in (SECRET, "203.0.113.7", "Odile", "Oskarby", "maren", "127.0.0.1"):
        assert anybodys.encode() not in told, anybodys


def test_without_a_collector_nothing_of_it_is_loaded() -> None:
    code = (
        "import sys; from scalewitness.serving.traces import start_tracing; start_tracing('web');"
        "sys.exit(any(name.startswith('opentelemetry') for name in sys.modules))"
    )
    subprocess.run([sys.executable, "-c", code], check=True, env={**os.environ, ENDPOINT: ""})


def numbers(served: LocalStack) -> dict[str, float]:
    token = served.environment["METRICS_TOKEN"]
    answer = httpx.get(f"{served.url}/metrics", headers={"Authorization": f"Bearer {token}"})
    assert answer.status_code == 200
    families = text_string_to_metric_families(answer.text)
    return {
        ",".join((one.name, *one.labels.values())): one.value
        for family in families
        for one in family.samples
    }


def test_each_process_tells_of_all_of_them(served: LocalStack) -> None:
    """Whichever answers. What was counted stays when one of them ends; what it had open goes."""
    route = "/api/v1/species"
    before = numbers(served).get(f"scalewitness_answers_total,{route},200", 0.0)
    for _ in range(20):  # each on a line of its own, so that both are asked
        assert ask(served.port, route, {"Connection": "close"}) == 401
    for _ in range(10):
        found = numbers(served)
        assert found[f"scalewitness_answers_total,{route},401"] == before + 20
        assert found[f"scalewitness_request_seconds_count,{route}"] == before + 20
    web = next(
        one for one in psutil.Process().children(recursive=True) if "gunicorn" in one.cmdline()
    )
    children = [one.pid for one in web.children()]
    assert len(children) == 2
    eventually(lambda: numbers(served)["scalewitness_web_processes"] == 2, "both were asked")
    assert numbers(served)["scalewitness_feed_places"] == 2 * settings.FEED_WAITERS
    os.kill(children[0], signal.SIGKILL)
    eventually(lambda: children[0] not in [one.pid for one in web.children()], "it is gone")
    eventually(lambda: len(web.children()) == 2, "another is there")
    found = numbers(served)
    assert found[f"scalewitness_answers_total,{route},401"] == before + 20
    assert found["scalewitness_web_processes"] <= 2


def test_worker_and_beat_are_heard_of(served: LocalStack) -> None:
    eventually(lambda: numbers(served).get("scalewitness_workers_alive") == 1, "the worker")
    eventually(lambda: "scalewitness_beat_timestamp_seconds" in numbers(served), "beat")
    sign = "scalewitness_task_runs_total,scalewitness.ledger.tasks.sign_head"
    eventually(lambda: sign in numbers(served), "a task was done")


def test_a_connection_ends_after_a_body_that_was_refused_and_says_so(served: LocalStack) -> None:
    connection = http.client.HTTPConnection(LOOPBACK, served.port, timeout=20)
    body = b'{"name": "' + b"x" * 5_000_000 + b'"}'
    connection.request("POST", "/api/v1/devices", body, {"Content-Type": "application/json"})
    answer = connection.getresponse()
    answer.read()
    assert (answer.status, answer.getheader("Connection")) == (413, "close")
    for _ in range(2):  # http.client opens another one, and keeps that
        connection.request("GET", "/health/live")
        answer = connection.getresponse()
        answer.read()
        assert (answer.status, answer.getheader("Connection")) == (200, "keep-alive")
    connection.close()


def addressed_with_secrets(proxy: Proxy) -> None:
    for address in secret_addresses(SECRET):
        proxy.ask(address, {"Referer": f"https://{HOST}{address}"})
        proxy.ask(f"/accounts/login/?next={quote(address, safe='')}&token={SECRET}", {})
    proxy.ask(f"/%6fffers/{SECRET}", {"Authorization": f"Bearer {SECRET}"}, "POST")
    proxy.ask(f"//offers/{SECRET}/offers/{SECRET}", {"Cookie": f"sessionid={SECRET}"})


def spoofed(proxy: Proxy, address: int) -> int:
    """What one is answered who says to come from an address of its own."""
    headers = {"X-Forwarded-For": f"198.51.100.{address}", "Content-Length": "0"}
    return proxy.ask("/api/v1/devices/token", headers, "POST")[0]


@pytest.mark.one_in(1)
@pytest.mark.some(1)
@pytest.mark.parametrize("sample", [nginx, caddy])
def test_a_proxy_keeps_secrets_out_of_its_logs_and_believes_no_caller(
    served: LocalStack, tmp_path: Path, sample: Callable[[Path, int], Proxy]
) -> None:
    """Also while nothing answers behind it: then callers are told to come again."""
    supervisor = served.supervisor
    proxy = sample(tmp_path, served.port)
    supervisor.start(proxy.service)
    addressed_with_secrets(proxy)
    assert proxy.ask("/health/live", {}) == (200, "")
    # It is counted by the minute, which may end among the first of them.
    addresses = cycle(range(256))
    eventually(lambda: spoofed(proxy, next(addresses)) == 429, "the many to count as one")
    forged = "7" * 32
    asked = proxy.answer("/about", {"X-Request-Id": forged}).getheader("X-Request-Id", "")
    eventually(lambda: asked in ids_in(served), "the service's line")
    assert forged not in ids_in(served)
    access = tmp_path / "record.access.log"
    (line,) = eventually(
        lambda: [one for one in access.read_text().splitlines() if asked in one], "the proxy's line"
    )
    assert "/about" in line
    supervisor.end("web")
    addressed_with_secrets(proxy)
    assert proxy.ask("/health/live", {}) == (503, "5")
    written = access.read_text()
    assert "/offers/***" in written
    assert "/accounts/login/" in written
    assert written.count("404") > 1
    logs = logs_of(tmp_path) | {"own": supervisor.log(proxy.service.name).read_text()}
    assert not [name for name, text in logs.items() if SECRET in text]
    supervisor.end(proxy.service.name)
    served.start_web()
