"""The whole service on one machine, as one object: for the demo and for tests of live processes.

Starts what the environment does not name (DATABASE_URL, REDIS_URL, EMAIL_URL), the tables, the
web server and the worker. Everything else the application reads is set here.
"""

import os
import sys
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from pathlib import Path

from scalewitness.setting_up.keys import fresh_log_key, fresh_map_key
from stack.postgres import Postgres
from stack.ready import LOOPBACK, file_contains, free_port, http_ok, tcp
from stack.secretfile import kept_secret
from stack.supervisor import Service, Supervisor
from stack.valkey import Valkey

ROOT = Path(__file__).resolve().parents[2]
"""The checkout."""

LOG_MEMORY = "log_memory"
"""In the folder: what the database must not forget, see the setting of this name."""

SOURCES = ("server", "clients", ".")

NO_SECOND_ROLE = (
    "DATABASE_URL is given without DATABASE_OWNER_URL: one role both owns the tables and runs the "
    "application, so the database does not hold it back from changing facts. Give both to keep "
    "that line of defence."
)


def settings_of(folder: Path, port: int, given: Mapping[str, str]) -> dict[str, str]:
    """What the application reads from its environment, but for the addresses of its servers."""
    origin = f"{LOOPBACK}:{port}/log"
    return {
        "DJANGO_SETTINGS_MODULE": "scalewitness.settings",
        "SECRET_KEY": kept_secret(folder / "secret_key"),
        "LOG_SIGNING_KEY": kept_secret(folder / "log_key", lambda: fresh_log_key(origin).secret()),
        "LOG_MAP_KEY": kept_secret(folder / "map_key", lambda: fresh_map_key().secret()),
        "PUBLIC_URL": f"http://{LOOPBACK}:{port}",
        "ALLOWED_HOSTS": f"{LOOPBACK},localhost",
        "MAIL_FROM": given.get("MAIL_FROM", "Scalewitness <record@scalewitness.example>"),
        "DEMO": "1",
        "METRICS_TOKEN": kept_secret(folder / "metrics_token"),
        "LOG_LEVEL": "INFO",  # the worker's own word that it is ready comes at this level
        "PYTHONPATH": os.pathsep.join(str(ROOT / part) for part in SOURCES),
        "PYTHONUNBUFFERED": "1",
        "SCALEWITNESS_RUN_DIR": str(folder),
    }


class LocalStack:
    """The service at http://127.0.0.1:`port`, its data in `folder`.

    `given` is the environment to look for databases and mail hosts in; `durable` false trades a
    power cut's safety for speed. `postgres` is the server started here, if one was.
    """

    def __init__(
        self,
        supervisor: Supervisor,
        folder: Path,
        port: int,
        given: Mapping[str, str] = os.environ,
        durable: bool = True,
    ) -> None:
        self.supervisor = supervisor
        folder.mkdir(parents=True, exist_ok=True)
        self.folder = folder.resolve()
        self.port = port
        self.url = f"http://{LOOPBACK}:{port}"
        self.maildir = None if given.get("EMAIL_URL") else self.folder / "mail"
        self._given = given
        self._durable = durable
        self._mail_port = free_port()
        self.postgres: Postgres | None = None
        self.environment = settings_of(self.folder, port, given)
        self.owner_url = ""

    def start(self) -> None:
        """Bring everything up. Raises `stack.supervisor.ProcessFailed` and `Interrupted`."""
        self.start_database()
        self.start_queue()
        self.start_mail()
        self.migrate()
        self.start_web()
        self.start_worker()

    def start_queue(self) -> None:
        """Start the queue server unless one was given; at first, or after it was stopped."""
        url = self._given.get("REDIS_URL")
        if not url:
            self.supervisor.start(self._valkey.service())
            url = self._valkey.url
        self.environment["REDIS_URL"] = url

    def start_mail(self, *faults: str) -> None:
        """Start the mail sink unless a mail host was given; at first, or after it was stopped.

        `faults` are options of `stack.mailsink`.
        """
        url = self._given.get("EMAIL_URL")
        if not url:
            url = f"smtp://{LOOPBACK}:{self._mail_port}"
            self.supervisor.start(self._mail_service(url, faults))
        self.environment["EMAIL_URL"] = url

    def start_web(self) -> None:
        """Start the web server, at first or after it was stopped."""
        options = ["-c", "python:scalewitness.serving.web_server", "--graceful-timeout", "5"]
        options += ["--bind", f"{LOOPBACK}:{self.port}"]
        web = self.python("web", "gunicorn", *options, "scalewitness.wsgi")
        ready = http_ok(f"{self.url}/health/ready")
        self.supervisor.start(replace(web, ready=ready, where=self.url))

    def start_worker(self) -> None:
        """Start the worker with its clock, at first or after it was stopped."""
        schedule = self.folder / "worker" / "schedule"
        schedule.parent.mkdir(exist_ok=True)
        options = ["--beat", "--schedule", str(schedule), "--concurrency", "2"]
        # Alone on its queue, it has no other workers to look for at the start.
        options += ["--loglevel", "INFO", "--without-mingle", "--without-gossip"]
        app = ["-A", "scalewitness.celery"]
        worker = self.python("worker", "celery", "--quiet", *app, "worker", *options)
        ready = file_contains(self.supervisor.log("worker"), b" ready.")
        self.supervisor.start(replace(worker, ready=ready))

    def run(self, name: str, module: str, *arguments: str, shown: bool = False) -> None:
        """Run a Python module to its end, with the application's environment.

        Raises `stack.supervisor.ProcessFailed` with the module's status.
        """
        command = self.python(name, module, *arguments)
        self.supervisor.run(replace(command, shown=shown, timeout=1800))

    def python(self, name: str, module: str, *arguments: str) -> Service:
        """A service that is a Python module run with the application's environment."""
        argv = [sys.executable, "-m", module, *arguments]
        return Service(name, argv, env=self.environment, cwd=ROOT)

    def start_database(self) -> None:
        """Start the database unless one was given."""
        app, owner = self._given.get("DATABASE_URL"), self._given.get("DATABASE_OWNER_URL")
        if app and not owner:
            self.supervisor.tell("database", NO_SECOND_ROLE)
        if not app:
            self.postgres = Postgres(self.folder / "postgres", durable=self._durable)
            self.postgres.start(self.supervisor)
            app, owner = self.postgres.app_url(), self.postgres.owner_url()
            # A database of our own goes with this folder; a given one may be anybody's.
            self.environment["LOG_MEMORY"] = str(self.folder / LOG_MEMORY)
        self.environment["DATABASE_URL"] = app
        self.owner_url = owner or app

    @cached_property
    def _valkey(self) -> Valkey:
        return Valkey(self.folder / "valkey")

    def _mail_service(self, url: str, faults: Sequence[str]) -> Service:
        options = ["--port", str(self._mail_port), "--maildir", str(self.folder / "mail"), *faults]
        return Service(
            "mail",
            [sys.executable, "-m", "stack.mailsink", *options],
            ready=tcp(self._mail_port),
            env={"PYTHONPATH": str(ROOT / "deploy")},
            where=url,
        )

    def migrate(self) -> None:
        command = self.python("migrate", "scalewitness", "migrate")
        env = self.environment | {"DATABASE_OWNER_URL": self.owner_url}
        self.supervisor.run(replace(command, env=env, timeout=600))
