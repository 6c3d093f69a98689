"""The cluster, as one object: made from nothing, and taken away again."""

import os
import shutil
import ssl
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

import httpx
import psycopg
from psycopg import sql

from cluster import parts
from cluster.hosts import Host, joined, take_away
from cluster.parts import APPLICATIONS, DATABASES, HOSTS
from cluster.units import Unit
from stack.authority import CERTIFICATE
from stack.local import ROOT, settings_of
from stack.secretfile import kept_secret

SECRETS = ("postgres", "replicator", "rewinder", "owner", "app", "queue")
OWNER, APP, DATABASE = "scalewitness_owner", "scalewitness_app", "scalewitness"
DISK = 1 << 30
"""Bytes of each database's disk."""
TOOK_TOO_LONG = 300.0
"""Seconds for one step of the start, on a machine with much else to do."""

Found = TypeVar("Found")


class NotReady(Exception):
    """Something did not come up; the text says what."""


class Trial:
    """All units of the cluster, and what one may ask of it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.logs = folder / "logs"
        self.secrets = _secrets(folder)
        self.env = _environment(folder, self.secrets)
        parts.certify(folder)
        logs = self.logs
        self.units: list[Unit] = []
        for host in DATABASES:
            self.units.append(parts.etcd(host, folder, logs))
            self.units.append(parts.patroni(host, folder, logs, self.secrets))
            self.units.append(parts.sentinel(host, folder, logs, self.secrets))
        for host in APPLICATIONS:
            self.units.append(parts.queue(host, folder, logs, self.secrets))
            self.units.append(parts.haproxy(host, folder, logs, self.secrets))
            self.units.append(parts.web(host, logs, self.env))
            self.units.append(parts.worker(host, logs, self.env))
            self.units.append(parts.beat(host, logs, self.env))

    def unit(self, name: str, host: Host) -> Unit:
        return next(one for one in self.units if (one.name, one.host) == (name, host))

    def on(self, host: Host) -> list[Unit]:
        return [one for one in self.units if one.host == host]

    def start(self, say: Callable[[str], None]) -> None:
        """Everything, in order. Raises NotReady."""
        self._start("etcd", "patroni")
        self.eventually(self.primary, "a primary")
        say("PostgreSQL has a primary")
        self.eventually(self.is_whole, "two standbys")
        say("and two standbys")
        self._make_database()
        self._migrate()
        say("the tables are made")
        self._start("sentinel", "queue", "haproxy", "web", "worker", "beat")
        for host in APPLICATIONS:
            self.eventually(partial(self.is_ready, host), f"the web on {host.name}")
            say(f"the web answers at http://{host.address}:{parts.WEB_PORT}")

    def stop(self) -> None:
        for one in reversed(self.units):
            one.end()

    def primary(self) -> Host | None:
        """Who says of itself that it is the primary."""
        return next((one for one in DATABASES if self._says(one, "/primary")), None)

    def standby(self) -> Host | None:
        """One of those that the primary counts when it waits."""
        return next((one for one in DATABASES if self._says(one, "/quorum")), None)

    def is_whole(self) -> bool:
        """Whether there is a primary, and the other two follow it and are counted."""
        counted = [one for one in DATABASES if self._says(one, "/quorum")]
        return len(counted) == 2 and self.primary() is not None

    def is_ready(self, host: Host) -> bool:
        """Whether the web of a host answers that it is."""
        return _answers(f"http://{host.address}:{parts.WEB_PORT}/health/ready")

    def superuser(self, host: Host, database: str = DATABASE) -> "psycopg.Connection[Any]":
        """A connection of the superuser's to PostgreSQL on a host."""
        return psycopg.connect(
            host=host.address, port=parts.DATABASE_PORT, dbname=database, user="postgres",
            password=self.secrets["postgres"], autocommit=True, connect_timeout=5,
        )  # fmt: skip

    def etcd_leader(self) -> Host:
        """The member that leads."""
        trusts = ssl.create_default_context(cafile=self.folder / CERTIFICATE)
        trusts.load_cert_chain(self.folder / parts.APPLICATION)
        for host in DATABASES:
            try:
                answer = httpx.post(
                    f"https://{host.address}:2379/v3/maintenance/status",
                    json={},
                    verify=trusts,
                    timeout=2,
                ).json()
            except (httpx.HTTPError, ValueError):
                continue
            if answer.get("leader") == answer["header"]["member_id"]:
                return host
        raise NotReady("no member of etcd leads")

    def eventually(
        self, look: Callable[[], Found], what: str, seconds: float = TOOK_TOO_LONG
    ) -> Found:
        """What is found, once it is. Raises NotReady."""
        until = time.monotonic() + seconds
        while not (found := look()):
            if time.monotonic() > until:
                raise NotReady(f"{what} did not come within {seconds:g} s; see {self.logs}")
            time.sleep(0.5)
        return found

    def _start(self, *names: str) -> None:
        for name in names:
            for one in self.units:
                if one.name == name:
                    one.start()

    def _says(self, host: Host, what: str) -> bool:
        return _answers(f"http://{host.address}:{parts.REST_PORT}{what}")

    def _make_database(self) -> None:
        primary = self.primary()
        if primary is None:
            raise NotReady("the primary is gone again")
        with self.superuser(primary, "postgres") as hand:
            for role, rights in ((OWNER, "LOGIN CREATEDB"), (APP, "LOGIN")):
                secret = self.secrets[role.removeprefix("scalewitness_")]
                hand.execute(
                    sql.SQL("CREATE ROLE {} {} PASSWORD {}").format(
                        sql.Identifier(role), sql.SQL(rights), sql.Literal(secret)
                    )
                )
            owned = sql.SQL("CREATE DATABASE {} OWNER {}")
            hand.execute(owned.format(sql.Identifier(DATABASE), sql.Identifier(OWNER)))

    def _migrate(self) -> None:
        primary = self.primary()
        if primary is None:
            raise NotReady("the primary is gone again")
        at = f"{primary.address}:{parts.DATABASE_PORT}/{DATABASE}"
        env = os.environ | self.env
        env["DATABASE_URL"] = f"postgresql://{APP}:{self.secrets['app']}@{at}"
        env["DATABASE_OWNER_URL"] = f"postgresql://{OWNER}:{self.secrets['owner']}@{at}"
        done = subprocess.run(
            [sys.executable, "-m", "scalewitness", "migrate"],
            env=env, cwd=ROOT, capture_output=True, text=True, check=False,
        )  # fmt: skip
        if done.returncode:
            raise NotReady(f"migrate failed: {done.stderr[-2000:]}")


@contextmanager
def trial(folder: Path) -> Iterator[Trial]:
    """A cluster from nothing; what an earlier one left in the folder is removed."""
    take_away(HOSTS)
    _take_disks_away(folder)
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True, mode=0o755)
    shutil.chown(folder, "postgres", "postgres")
    (folder / "logs").mkdir()
    for host in DATABASES:
        _add_disk(parts.disk_of(host, folder))
        _for_postgresql(folder / f"socket-{host.name}")
    try:
        with joined(HOSTS):
            made = Trial(folder)
            try:
                yield made
            finally:
                made.stop()
    finally:
        _take_disks_away(folder)


def _add_disk(place: Path) -> None:
    """A file with a file system, so that a disk can be full."""
    image = place.with_suffix(".image")
    with image.open("wb") as file:
        file.truncate(DISK)
    subprocess.run(["mkfs.ext4", "-q", str(image)], check=True)
    place.mkdir()
    subprocess.run(["mount", "-o", "loop", str(image), str(place)], check=True)
    _for_postgresql(place / "data")


def _for_postgresql(place: Path) -> None:
    place.mkdir(mode=0o700)
    shutil.chown(place, "postgres", "postgres")


def _take_disks_away(folder: Path) -> None:
    for host in DATABASES:
        place = parts.disk_of(host, folder)
        if place.is_mount():
            subprocess.run(["umount", str(place)], check=True)


def _secrets(folder: Path) -> dict[str, str]:
    return {name: kept_secret(folder / f"{name}.secret") for name in SECRETS}


def _environment(folder: Path, secrets: Mapping[str, str]) -> dict[str, str]:
    first = APPLICATIONS[0]
    here = f"127.0.0.1:{parts.PRIMARY_HERE}/{DATABASE}"
    return settings_of(folder, parts.WEB_PORT, {}) | {
        "PUBLIC_URL": f"http://{first.address}:{parts.WEB_PORT}",
        "ALLOWED_HOSTS": ",".join(one.address for one in APPLICATIONS),
        "DATABASE_URL": f"postgresql://{APP}:{secrets['app']}@{here}",
        "REDIS_URL": f"redis://:{secrets['queue']}@127.0.0.1:{parts.QUEUE_HERE}/0",
        "EMAIL_URL": "smtp://127.0.0.1:1",  # nothing listens: letters wait
        "LOG_MEMORY": f"etcds://{parts.ETCD}/scalewitness-log",
        "LOG_MEMORY_CA": str(folder / CERTIFICATE),
        "LOG_MEMORY_CERTIFICATE": str(folder / parts.APPLICATION),
    }


def _answers(url: str) -> bool:
    try:
        return httpx.get(url, timeout=2).status_code == 200
    except httpx.HTTPError:
        return False
