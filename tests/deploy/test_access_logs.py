"""What gunicorn and proxies write down of real requests, and whom they believe, as configured by
what comes along."""

import http.client
from collections.abc import Callable, Iterator
from pathlib import Path
from urllib.parse import quote

import pytest
from tests.addresses import secret_addresses
from tests.plugins.services import Services
from tests.proxies import HOST, Proxy, caddy, nginx
from tests.stacks import database_for, start

from stack.local import LocalStack
from stack.ready import LOOPBACK, free_port
from stack.supervisor import Supervisor

SECRET = "NotByItsShape"


@pytest.fixture(scope="module")
def served(
    services: Services, untouched_database: str, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[LocalStack]:
    folder = tmp_path_factory.mktemp("served")
    with (
        database_for(services, untouched_database, "served") as database,
        Supervisor(folder / "run", lambda name, text: None) as supervisor,
    ):
        local = LocalStack(supervisor, folder / "data", free_port(), database)
        local.environment["TRUSTED_PROXIES"] = "1"
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


def test_no_log_of_the_service_holds_a_secret_and_each_request_is_in_one(
    served: LocalStack,
) -> None:
    supervisor = served.supervisor
    ask_with_secrets(served.port)
    assert ask(served.port, f"/bad {SECRET}".replace(" ", "%20"), {}) == 404
    written = supervisor.log("web").read_text()
    assert '"GET /offers/*** HTTP/1.1" 404' in written
    assert '"POST /offers/*** HTTP/1.1" 404' in written
    assert '"GET /accounts/login/ HTTP/1.1" 200' in written
    logs = logs_of(supervisor.folder)
    assert {"web.log", "worker.log"} <= set(logs)
    written = written.replace(f"/bad%20{SECRET}", "").replace(f"/bad {SECRET}", "")
    assert SECRET not in written
    assert [name for name, text in logs.items() if SECRET in text] == ["web.log"]  # the bad one


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


def spoofed(proxy: Proxy, count: int) -> list[int]:
    """What each is answered who says to come from an address of its own."""
    return [
        proxy.ask(
            "/api/v1/devices/token",
            {"X-Forwarded-For": f"198.51.100.{number}", "Content-Length": "0"},
            "POST",
        )[0]
        for number in range(count)
    ]


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
    assert spoofed(proxy, 62)[-1] == 429
    supervisor.end("web")
    addressed_with_secrets(proxy)
    assert proxy.ask("/health/live", {}) == (503, "5")
    written = (tmp_path / "record.access.log").read_text()
    assert "/offers/***" in written
    assert "/accounts/login/" in written
    assert written.count("404") > 1
    logs = logs_of(tmp_path) | {"own": supervisor.log(proxy.service.name).read_text()}
    assert not [name for name, text in logs.items() if SECRET in text]
    supervisor.end(proxy.service.name)
    served.start_web()
