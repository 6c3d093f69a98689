"""What gunicorn and nginx write down of real requests, with the configuration that comes along."""

import http.client
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import pytest
from tests.addresses import secret_addresses
from tests.plugins.services import Services
from tests.stacks import database_for, start

from stack.local import ROOT, LocalStack
from stack.ready import LOOPBACK, free_port, tcp
from stack.supervisor import Service, Supervisor

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


def nginx_of(folder: Path, port: int, behind: int) -> Path:
    """The sample, for a port of our own, without TLS and with its logs in this folder."""
    text = (ROOT / "deploy/nginx.conf").read_text()
    for told, here in {
        "server 127.0.0.1:8000;": f"server {LOOPBACK}:{behind};",
        "listen 80;": f"listen {LOOPBACK}:{free_port()};",
        "listen 443 ssl http2;": f"listen {LOOPBACK}:{port};",
        "    ssl_certificate /etc/ssl/record.example.pem;\n": "",
        "    ssl_certificate_key /etc/ssl/private/record.example.key;\n": "",
        "/var/log/nginx/": f"{folder}/",
        "server_name record.example;": f"server_name {LOOPBACK};",
    }.items():
        assert told in text, told
        text = text.replace(told, here)
    main = folder / "nginx.conf"
    main.write_text(
        f"daemon off; master_process off; pid {folder}/nginx.pid; error_log {folder}/main.log;"
        f"events {{}} http {{ access_log {folder}/default.log;"
        + "".join(
            f"{kind}_temp_path {folder}/{kind};"
            for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
        )
        + f"\n{text}\n}}\n"
    )
    return main


def test_nginx_keeps_secrets_out_of_its_logs_also_when_nothing_answers_behind_it(
    served: LocalStack, tmp_path: Path
) -> None:
    supervisor = served.supervisor
    nginx = shutil.which("nginx", path="/usr/sbin:/usr/local/sbin:/usr/bin")
    if nginx is None:
        pytest.skip("there is no nginx here to try the sample with: apt-get install nginx-light")
    folder, port = tmp_path / "nginx", free_port()
    folder.mkdir()
    config = nginx_of(folder, port, served.port)
    subprocess.run([nginx, "-t", "-c", config, "-e", folder / "main.log"], check=True)
    argv = [nginx, "-c", str(config), "-e", str(folder / "main.log")]
    supervisor.start(Service("nginx", argv, ready=tcp(port)))
    ask_with_secrets(port)
    assert ask(port, "/health/live", {}) == 200
    supervisor.end("web")
    ask_with_secrets(port)
    assert ask(port, "/health/live", {}) == 502
    written = (folder / "record.access.log").read_text()
    for line in ('"GET /offers/*** HTTP/1.1" 404', '"GET /offers/*** HTTP/1.1" 502'):
        assert line in written
    logs = {one.name: one.read_text() for one in folder.glob("*.log")}
    assert not [name for name, text in logs.items() if SECRET in text]
    supervisor.end("nginx")
    served.start_web()
