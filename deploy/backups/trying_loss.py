"""Lose the database's disk while clients push, and get everything back.

Everything is real, on this machine: Debian's PostgreSQL and pgBackRest, both as the samples have
them, a receiver (pg_receivewal), the web server and the worker, and clients that
push and send again until they are answered. First the receiver is silent for a while; then it is
switched off and on; a backup is made and drilled; then PostgreSQL is killed and its folder deleted.
`recover` makes a new one. Nothing that was accepted may be missing, and nothing be there twice.
With --without-receiver only what had reached the archive comes back, and `adopt` must refuse it.

Needs: apt-get install postgresql pgbackrest
"""

import argparse
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from importlib import import_module
from itertools import count
from pathlib import Path
from typing import Any, Final

from backups.programs import (
    POSTGRES,
    Failed,
    end_in_order,
    give,
    require,
    run,
    server_programs,
    start,
)
from stack.local import ROOT, LocalStack
from stack.pushing import Pushing, Sender, misplaced
from stack.ready import LOOPBACK, free_port
from stack.supervisor import ProcessFailed, Supervisor

HERE: Final = Path(__file__).parent
CLIENTS: Final = 4
BATCH: Final = 5
SILENT: Final = 6.0
"""Seconds that the receiver does not answer for: longer than a push waits for its turn."""
ROLES: Final = """
CREATE ROLE scalewitness_owner LOGIN CREATEDB PASSWORD 'owner';
CREATE ROLE scalewitness_app LOGIN PASSWORD 'app';
CREATE ROLE scalewitness_receiver LOGIN REPLICATION PASSWORD 'receiver';
"""
HBA: Final = """
local all postgres trust
host all all 127.0.0.1/32 scram-sha-256
host replication scalewitness_receiver 127.0.0.1/32 scram-sha-256
"""


def main() -> int:
    """Try it; returns the exit status."""
    parser = argparse.ArgumentParser(
        prog="deploy/backups/try_loss",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--without-receiver", action="store_true")
    given = parser.parse_args()
    end_in_order()
    try:
        require("pgbackrest", "pgbackrest")
        programs = server_programs(None)
    except Failed as missing:
        print(missing, file=sys.stderr)
        return 2
    with tempfile.TemporaryDirectory(prefix="scalewitness-loss-", dir="/var/tmp") as made:
        folder = Path(made)
        folder.chmod(0o755)
        try:
            faults = Trial(folder, programs).play(receiver=not given.without_receiver)
        except (Failed, ProcessFailed, TimeoutError) as failure:
            faults = [str(failure), *getattr(failure, "__notes__", ())]
    for fault in faults:
        print(f"MISS  {fault}")
    return 1 if faults else 0


def say(text: str) -> None:
    print(f"{time.strftime('%H:%M:%S')}  {text}", flush=True)


class Trial:
    """One database's host, one receiver's and one web host, in a folder."""

    def __init__(self, folder: Path, programs: Path) -> None:
        self.folder, self.programs = folder, programs
        self.data, self.received = folder / "data", folder / "received"
        self.port, self.config = free_port(), folder / "pgbackrest.conf"
        self.stamp, self.env = folder / "stamp" / "stamp.json", folder / "env"
        self.live = f"host={folder / 'socket'} port={self.port} dbname=postgres user=postgres"
        for one in (
            "data",
            "socket",
            "received",
            "repository",
            "spool",
            "log",
            "lock",
            "stamp",
            "space",
        ):
            (folder / one).mkdir()
            give(folder / one, POSTGRES)

    def play(self, *, receiver: bool) -> list[str]:
        with ExitStack() as running:
            running.callback(self._end)
            self.make()
            stack = running.enter_context(self.service())
            say("the service runs; a first backup")
            self._command("take")
            if receiver:
                self.receive()
                self._command("receiver", "on", "--live", self.live)
            with Pushing(stack.url, senders()) as pushing:
                pushing.wait_for(50)
                if receiver:
                    self.silence(pushing)
                say("a backup under load, and a drill of it")
                self._command("take")
                self._drill()
                pushing.wait_for(50)
                self.lose(stack)
                if receiver:
                    self.restore(stack, pushing)
                else:
                    pushing.give_up()
            say(f"answers {dict(pushing.answers)}; the longest without one {pushing.longest:.1f} s")
            if not receiver:
                return self.lost_without(stack, pushing)
            lost = misplaced(stack.owner_url, pushing.positions)
            say(f"{len(pushing.positions)} accepted, {len(lost)} of them lost or misplaced")
            return [*pushing.faults, *(f"lost: {one}" for one in lost)]

    # --- the database's host --------------------------------------------------------------

    def make(self) -> None:
        """A cluster with the sample settings, and a repository with the sample configuration."""
        initdb = [str(self.programs / "initdb"), "--encoding=UTF8", "--locale=C.UTF-8"]
        run([*initdb, f"--username={POSTGRES}", f"--pgdata={self.data}", "-k"], POSTGRES)
        sample = (HERE / "pgbackrest.conf").read_text()
        for before, after in (
            ("/var/lib/postgresql/15/main", str(self.data)),
            ("/var/lib/pgbackrest", str(self.folder / "repository")),
            ("/var/spool/pgbackrest", str(self.folder / "spool")),
            ("CHANGE-ME", "a-passphrase-of-this-trial"),
            ("[global]", f"[global]\nlog-path={self.folder}/log\nlock-path={self.folder}/lock"),
        ):
            assert before in sample, before  # noqa: S101  the sample is what is tried
            sample = sample.replace(before, after)
        socket = self.folder / "socket"
        self.config.write_text(f"{sample}pg1-port={self.port}\npg1-socket-path={socket}\n")
        (self.folder / "pg_hba.conf").write_text(HBA)
        settings = (HERE / "postgresql.conf").read_text()
        push = f"pgbackrest --config={self.config} --stanza"
        settings = settings.replace("pgbackrest --stanza", push)
        (self.folder / "postgresql.conf").write_text(
            f"{settings}\nport={self.port}\nlisten_addresses='{LOOPBACK}'\n"
            f"unix_socket_directories='{socket}'\nhba_file='{self.folder / 'pg_hba.conf'}'\n"
            "max_connections=200\n"
        )
        for one in (self.config, self.folder / "postgresql.conf", self.folder / "pg_hba.conf"):
            give(one, POSTGRES)
        self.start()
        self._psql(ROLES)
        self._psql("CREATE DATABASE scalewitness OWNER scalewitness_owner")
        stanza = ["pgbackrest", f"--config={self.config}", "--stanza=scalewitness"]
        run([*stanza, "stanza-create"], POSTGRES)

    def start(self) -> None:
        argv = [str(self.programs / "postgres"), "-D", str(self.data)]
        argv += ["-c", f"config_file={self.folder / 'postgresql.conf'}"]
        self._postgres = start(argv, POSTGRES, self.folder / "postgres.log")
        _until(lambda: self._answers(), "PostgreSQL answers")

    def _answers(self) -> bool:
        try:
            self._psql("SELECT 1")
        except Failed:
            return False
        return True

    def _psql(self, statement: str) -> str:
        words = ["--no-psqlrc", "--quiet", "--tuples-only", "--no-align", "-c", statement]
        return run([str(self.programs / "psql"), *words, self.live], POSTGRES).strip()

    # --- the receiver's host --------------------------------------------------------------

    def receive(self) -> None:
        reach = f"host={LOOPBACK} port={self.port} user=scalewitness_receiver password=receiver"
        argv = [str(self.programs / "pg_receivewal"), "--synchronous", "--slot=receiver"]
        argv += [f"--directory={self.received}", f"--dbname={reach} application_name=receiver"]
        run([*argv, "--create-slot", "--if-not-exists"], POSTGRES)
        self._receiver = start(argv, POSTGRES, self.folder / "receiver.log")
        streaming = "SELECT count(*) FROM pg_stat_replication WHERE state = 'streaming'"
        _until(lambda: self._psql(streaming) == "1", "the receiver streams")

    def silence(self, pushing: Pushing) -> None:
        """What pushes do while the receiver is away, and how one goes on without it."""
        self._receiver.send_signal(signal.SIGSTOP)
        time.sleep(0.5)
        before = len(pushing.positions)
        time.sleep(SILENT)
        accepted = len(pushing.positions) - before
        say(f"the receiver is silent for {SILENT:.0f} s: {accepted} accepted, {pushing.answers}")
        self._receiver.send_signal(signal.SIGCONT)
        pushing.wait_for(20)
        self._receiver.kill()
        self._receiver.wait()
        time.sleep(1)
        self._command("receiver", "off", "--live", self.live)
        pushing.wait_for(20)
        say("the receiver is dead and switched off: pushes go on")
        self.receive()
        self._command("receiver", "on", "--live", self.live)

    # --- the web host ---------------------------------------------------------------------

    @contextmanager
    def service(self) -> Iterator[LocalStack]:
        given = {
            "DATABASE_URL": self._url("app"),
            "DATABASE_OWNER_URL": self._url("owner"),
        }
        with Supervisor(self.folder / "web", say=lambda name, text: None) as supervisor:
            stack = LocalStack(supervisor, self.folder / "web", free_port(), given)
            (self.folder / "memory").mkdir()
            stack.environment["LOG_MEMORY"] = str(self.folder / "memory" / "memory")
            stack.start()
            named = stack.environment | {"DATABASE_OWNER_URL": stack.owner_url}
            self.env.write_text("".join(f"{name}={value}\n" for name, value in named.items()))
            os.environ |= stack.environment
            yield stack

    def _url(self, role: str) -> str:
        return f"postgresql://scalewitness_{role}:{role}@{LOOPBACK}:{self.port}/scalewitness"

    def _manage(self, stack: LocalStack, *words: str) -> "subprocess.CompletedProcess[str]":
        return subprocess.run(
            [sys.executable, "-m", "scalewitness", *words],
            env=os.environ | stack.environment,
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=False,
        )

    # --- the loss -------------------------------------------------------------------------

    def lose(self, stack: LocalStack) -> None:
        say("PostgreSQL is killed and its folder deleted")
        os.killpg(self._postgres.pid, signal.SIGKILL)
        self._postgres.wait()
        shutil.rmtree(self.data)
        for name in ("worker", "web"):
            stack.supervisor.end(name)

    def restore(self, stack: LocalStack, pushing: Pushing) -> None:
        began = time.monotonic()
        self._receiver.send_signal(signal.SIGINT)
        self._receiver.wait(30)
        self._recover("--received", str(self.received))
        self.start()
        stack.start_web()
        before = len(pushing.positions)
        time.sleep(2)
        if len(pushing.positions) != before:
            raise Failed("The restored log took something before it was adopted.")
        for words in (["fsck"], ["adopt"]):
            done = self._manage(stack, *words)
            say(f"{words[0]}: {(done.stdout + done.stderr).strip().splitlines()[-1]}")
            if done.returncode:
                raise Failed(f"{words[0]} ended with {done.returncode}")
        stack.start_worker()
        pushing.wait_for(50)
        say(f"clients are served again {time.monotonic() - began:.0f} s after the loss")

    def lost_without(self, stack: LocalStack, pushing: Pushing) -> list[str]:
        self._recover()
        self.start()
        lost = misplaced(stack.owner_url, pushing.positions)
        say(f"without a receiver {len(lost)} of {len(pushing.positions)} accepted facts are lost")
        done = self._manage(stack, "adopt")
        say(f"adopt: {(done.stdout + done.stderr).strip().splitlines()[-1]}")
        refused = done.returncode != 0 or not lost
        return [] if refused else ["adopt opened a log that lacks what was accepted"]

    def _recover(self, *words: str) -> None:
        own = ["--env", str(self.env), "--to", str(self.data), "--config", str(self.config)]
        self._run("recover", *own, *words)

    def _drill(self) -> None:
        own = ["--env", str(self.env), "--config", str(self.config), "--stamp", str(self.stamp)]
        server = f"{sys.executable} -m scalewitness"
        self._run("drill", *own, "--live", self.live, "--server", server, "--user", "root",
                  "--space", str(self.folder / "space"))  # fmt: skip

    def _command(self, name: str, *words: str) -> None:
        """One that is run as `postgres`."""
        own = ["--config", str(self.config), "--stamp", str(self.stamp)] if name == "take" else []
        self._run(name, *own, *words)

    def _run(self, name: str, *words: str) -> None:
        done = subprocess.run(
            [str(HERE / name), *words], env=os.environ, capture_output=True, text=True, check=False
        )
        for line in (done.stdout + done.stderr).strip().splitlines():
            say(f"  {name}: {line}")
        if done.returncode:
            raise Failed(f"{name} ended with {done.returncode}")

    def _end(self) -> None:
        for process in (getattr(self, "_receiver", None), getattr(self, "_postgres", None)):
            if process is not None and process.poll() is None:
                process.send_signal(signal.SIGINT)
                process.wait(60)


def senders() -> list[Sender]:
    """Keepers with animals, put there directly, and calls without end."""
    import django  # noqa: PLC0415  what follows needs the settings

    django.setup()
    herd_of = import_module("sync_parts").Herd  # of the benches

    def batches(herd: Any) -> Iterator[list[dict[str, Any]]]:
        return (herd.calls(BATCH) for _ in count())

    herds = [herd_of("Wilhelmina Stroud", 50) for _ in range(CLIENTS)]
    return [Sender(one.headers(0), batches(one)) for one in herds]


def _until(is_so: Callable[[], bool], what: str, within: float = 60.0) -> None:
    until = time.monotonic() + within
    while not is_so():
        if time.monotonic() > until:
            raise TimeoutError(f"within {within:.0f} s it is not so that {what}")
        time.sleep(0.2)


if __name__ == "__main__":
    sys.exit(main())
