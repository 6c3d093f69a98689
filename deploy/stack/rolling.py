"""Upgrade two web hosts one after the other, under pushing clients: ``./deploy/rolling``.

On this machine: two web servers behind nginx with the sample's rules, PostgreSQL, a worker, and
clients that push and send again until they are answered. The tables are migrated while the
earlier release serves, then each web host and the worker is stopped and started anew. Nothing
that was accepted may be missing, nothing be there twice, and nobody be answered anything but what
they asked for, or 503 with Retry-After.

``--earlier DIR``: a checkout of the release before, which everything begins with. Without it both
are this one, which tries the restart alone.

Needs: apt-get install nginx-light
"""

import argparse
import http.client
import json
import re
import secrets
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from itertools import count
from os import pathsep
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlsplit

import psycopg

from stack.facts import fact, fresh_id
from stack.local import ROOT, SOURCES, LocalStack
from stack.pushing import Pushing, Sender, misplaced
from stack.ready import LOOPBACK, free_port, http_ok, tcp
from stack.supervisor import ProcessFailed, Service, Supervisor

CLIENTS: Final = 4
BATCH: Final = 5
BETWEEN: Final = 60
"""Facts that are to be accepted between two steps."""
PASSED_OVER: Final = 2.0
"""Seconds for which the sample passes over a host that refused: nginx counts in whole ones."""
SAMPLES: Final = "8000"
"""The port of the web server in the sample."""
NGINX: Final = """
daemon off; pid {folder}/nginx.pid; error_log {folder}/nginx.log;
events {{}}
http {{
    access_log off;
    client_body_temp_path {folder}/body; proxy_temp_path {folder}/proxy;
    fastcgi_temp_path {folder}/fastcgi; uwsgi_temp_path {folder}/uwsgi;
    scgi_temp_path {folder}/scgi;
    {upstream}
    server {{ listen {where}; client_max_body_size 26m; {rules} }}
}}
"""


def main(arguments: Sequence[str] | None = None) -> int:
    """Try it; returns the exit status."""
    parser = argparse.ArgumentParser(
        prog="./deploy/rolling",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "--earlier", type=Path, default=ROOT, help="a checkout of the release before"
    )
    given = parser.parse_args(arguments)
    if shutil.which("nginx") is None:
        print("nginx is not installed. On Debian: apt-get install nginx-light", file=sys.stderr)
        return 2
    with tempfile.TemporaryDirectory(prefix="scalewitness-rolling-") as made:
        try:
            faults = upgraded(Path(made), given.earlier.resolve())
        except (ProcessFailed, TimeoutError, OSError) as failure:
            faults = [str(failure), *getattr(failure, "__notes__", ())]
    for fault in faults:
        print(f"MISS  {fault}")
    return 1 if faults else 0


def upgraded(folder: Path, earlier: Path) -> list[str]:
    """What went wrong."""
    folder.chmod(0o755)
    with Supervisor(folder, say=lambda name, text: None) as supervisor:
        stack = LocalStack(supervisor, folder, free_port(), given={})
        stack.environment["LOG_MEMORY"] = str(folder / "log_memory")
        hosts = Hosts(stack)
        hosts.of(earlier)
        stack.start_database()
        stack.start_queue()
        stack.start_mail()
        stack.migrate()
        for name in hosts.ports:
            hosts.start(name)
        stack.start_worker()
        hosts.start_proxy(folder)
        senders = [sender(stack.url, stack.owner_url, number) for number in range(CLIENTS)]
        say(f"two web hosts of {earlier}, and {CLIENTS} clients push")
        with Pushing(stack.url, senders) as pushing:
            step(pushing, "before", lambda: None)
            hosts.of(ROOT)
            if earlier != ROOT:
                step(pushing, "this release before its tables", hosts.too_early)
            step(pushing, "migrate", stack.migrate)
            for name in hosts.ports:
                step(pushing, f"{name} anew", partial(hosts.anew, name))
            step(pushing, "the worker anew", partial(worker_anew, stack))
        lost = misplaced(stack.owner_url, pushing.positions)
        say(f"answers {dict(pushing.answers)}; the longest without one {pushing.longest:.1f} s")
        say(f"{len(pushing.positions)} accepted, {len(lost)} of them lost or misplaced")
    unanswered = [f"{pushing.answers['lost']} got no answer"] if pushing.answers["lost"] else []
    return [*pushing.faults, *unanswered, *(f"lost: {one}" for one in lost)]


def say(text: str) -> None:
    print(f"{time.strftime('%H:%M:%S')}  {text}", flush=True)


def step(pushing: Pushing, what: str, do: Callable[[], None]) -> None:
    """Do it, and see that facts are accepted after it."""
    began, before = time.monotonic(), pushing.answers["503"]
    do()
    pushing.wait_for(BETWEEN)
    took = time.monotonic() - began
    say(f"{what}: {took:.1f} s, {pushing.answers['503'] - before} times 503")


class Hosts:
    """The two web hosts, as two servers on this one."""

    def __init__(self, stack: LocalStack) -> None:
        self._stack = stack
        self.ports = {"web1": free_port(), "web2": free_port()}

    def of(self, tree: Path) -> None:
        """What is started from now on is of this checkout."""
        paths = pathsep.join(str(tree / part) for part in SOURCES)
        self._stack.environment["PYTHONPATH"] = paths

    def start(self, name: str) -> None:
        """Start one and wait until it is ready."""
        ready = http_ok(f"http://{LOOPBACK}:{self.ports[name]}/health/ready")
        self._stack.supervisor.start(replace(self._service(name, self.ports[name]), ready=ready))

    def anew(self, name: str) -> None:
        """Stop one in its own time, start it, and wait until the proxy asks it again."""
        self._stack.supervisor.end(name)
        self.start(name)
        time.sleep(PASSED_OVER)

    def too_early(self) -> None:
        """See that this release does not serve on the tables of the one before.

        Raises:
            ProcessFailed: it does.
        """
        port = free_port()
        supervisor = self._stack.supervisor
        supervisor.start(replace(self._service("early", port), ready=tcp(port)))
        status, answer = asked(f"http://{LOOPBACK}:{port}", "GET", "/health/ready")
        supervisor.end("early")
        if status != 503:
            raise ProcessFailed("early", f"served before its migration: {status}")
        say(f"  503: {answer['why']}")

    def start_proxy(self, folder: Path) -> None:
        """nginx, with the upstream and the locations of the sample."""
        sample = (ROOT / "deploy" / "proxy" / "nginx.conf").read_text()
        rules = sample[sample.rindex("    location / {") :].rstrip().removesuffix("}")
        (upstream,) = re.findall(r"^upstream [^}]+}$", sample, re.MULTILINE)
        (server,) = re.findall(r"^ +server .+;\n", upstream, re.MULTILINE)
        each = (server.replace(SAMPLES, str(port)) for port in self.ports.values())
        upstream = upstream.replace(server, "".join(each))
        where = f"{LOOPBACK}:{self._stack.port}"
        conf = folder / "nginx.conf"
        conf.write_text(NGINX.format(folder=folder, upstream=upstream, where=where, rules=rules))
        argv = ["nginx", "-c", str(conf), "-e", str(folder / "nginx.log")]
        self._stack.supervisor.start(Service("proxy", argv, ready=tcp(self._stack.port)))

    def _service(self, name: str, port: int) -> Service:
        options = ["-c", "python:scalewitness.serving.web_server", "--graceful-timeout", "30"]
        options += ["--bind", f"{LOOPBACK}:{port}"]
        web = self._stack.python(name, "gunicorn", *options, "scalewitness.wsgi")
        return replace(web, grace=40.0)


def worker_anew(stack: LocalStack) -> None:
    stack.supervisor.end("worker")
    stack.start_worker()


def sender(url: str, owner: str, number: int) -> Sender:
    """A keeper with an animal, who weighs it without end."""
    email, password = f"keeper{number}@keepers.example", secrets.token_hex(16)
    person = {"name": f"Keeper {number}", "email": email, "password": password}
    required(url, "/api/v1/keepers", person)
    with psycopg.connect(owner) as connection:  # what a click on the link in the letter does
        connection.execute(
            "UPDATE account_emailaddress SET verified = true WHERE email = %s", [email]
        )
    device = {"email": email, "password": password, "name": "a device"}
    token = required(url, "/api/v1/devices", device)["token"]
    headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
    collection, animal = fresh_id(), fresh_id()
    required(url, "/api/v1/collections", {"id": collection, "name": "Mine"}, headers)
    body = {"collection": collection, "species": "python_regius"}
    required(url, "/api/v1/push", {"items": [fact("animal_registered", animal, body)]}, headers)
    return Sender(headers, weighings(animal))


def weighings(animal: str) -> Iterator[list[dict[str, Any]]]:
    for turn in count():
        noted = {"type": "weight", "grams": str(900 + turn % 100)}
        yield [fact("husbandry_noted", animal, {"noted": noted}) for _ in range(BATCH)]


def required(
    url: str, path: str, sent: dict[str, Any], headers: dict[str, str] | None = None
) -> dict[str, Any]:
    """The answer.

    Raises:
        OSError: it was another than 2xx.
    """
    status, answer = asked(url, "POST", path, sent, headers)
    if not 200 <= status < 300:
        raise OSError(f"{path} answered {status}: {answer}")
    return answer


def asked(
    url: str,
    method: str,
    path: str,
    sent: dict[str, Any] | None = None,
    headers: dict[str, str] | None = None,
) -> tuple[int, dict[str, Any]]:
    parts = urlsplit(url)
    line = http.client.HTTPConnection(parts.hostname or LOOPBACK, parts.port, timeout=30)
    try:
        body = None if sent is None else json.dumps(sent)
        line.request(method, path, body, headers or {"Content-Type": "application/json"})
        answer = line.getresponse()
        return answer.status, json.loads(answer.read() or b"{}")
    finally:
        line.close()


if __name__ == "__main__":
    sys.exit(main())
