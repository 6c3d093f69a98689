"""Starts named processes, watches them, and stops them in reverse order.

Each runs in a process group of its own, so a Ctrl-C in the terminal reaches the supervisor
alone. A guard process (`stack.guard`) stops the groups if the supervisor itself is killed;
`running.json` in the folder lets the next start stop what even the guard could not.
"""

import contextlib
import json
import os
import pwd
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType
from typing import IO, Any, Self

import psutil

from stack.guard import PAUSE, kill_group, stop_group
from stack.ready import Check

LAST_LINES = 15
"""Log lines kept for a process that failed."""


@dataclass(frozen=True)
class Service:
    """One process: what to run, how to see that it is up, how to stop it.

    `env` is added to the supervisor's own. `user` (a name, for a supervisor that is root)
    is who runs it. `timeout` bounds the wait for `ready`, or for the end of a command; `grace`
    the wait after `stop_signal`; both in seconds. `where` is shown once it is up. `shown` sends
    the output to the terminal instead of the log.
    """

    name: str
    argv: Sequence[str]
    ready: Check = lambda: True
    env: Mapping[str, str] = field(default_factory=dict)
    where: str = ""
    stop_signal: signal.Signals = signal.SIGTERM
    timeout: float = 60.0
    grace: float = 10.0
    user: str | None = None
    cwd: Path | None = None
    shown: bool = False


class ProcessFailed(Exception):
    """A process died or was too slow, or a command ended with another status than 0.

    `status` is the command's, or 1. `lines` are the last of the log.
    """

    def __init__(self, name: str, what: str, lines: Sequence[str] = (), status: int = 1) -> None:
        super().__init__(f"{name} {what}")
        self.add_note("\n".join(lines))
        self.name = name
        self.lines = lines
        self.status = status


class Interrupted(Exception):
    """A signal asked the supervisor to stop; `number` says which."""

    def __init__(self, number: int) -> None:
        super().__init__(signal.Signals(number).name)
        self.number = number


@dataclass(frozen=True)
class Running:
    """A started process. A watched one is not expected to end."""

    service: Service
    process: subprocess.Popen[bytes]
    watched: bool


class Supervisor:
    """Runs services until told to stop. Use as a context manager: leaving it stops them all.

    `folder` receives `logs/NAME.log` for each process and `running.json`. `say` is given a name
    and a line of progress. `held` are file descriptors the guard keeps open until everything
    has stopped.
    """

    def __init__(
        self, folder: Path, say: Callable[[str, str], None], held: Sequence[int] = ()
    ) -> None:
        self.folder = folder
        self.logs = folder / "logs"
        self.logs.mkdir(parents=True, exist_ok=True)
        self._say = say
        self._signals: list[int] = []
        self._running: list[Running] = []
        self._guard = _start_guard(self.logs / "guard.log", held)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *failure: object) -> None:
        self.stop()

    def listen(self) -> None:
        """Turn SIGINT, SIGTERM and SIGHUP into `Interrupted`, raised where the supervisor waits."""
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, self._note_signal)

    def log(self, name: str) -> Path:
        """Where the output of a process goes."""
        return self.logs / f"{name}.log"

    def start(self, service: Service) -> None:
        """Start a service and wait until it is ready. Raises `ProcessFailed`, `Interrupted`."""
        began = time.monotonic()
        self._launch(service, watched=True)
        while not service.ready():
            self.look()
            if time.monotonic() - began > service.timeout:
                raise self._failure(service, f"was not ready within {service.timeout:.0f} s")
            time.sleep(PAUSE)
        self.look()
        took = time.monotonic() - began
        self._say(service.name, f"up in {took:.1f} s  {service.where}".rstrip())

    def run(self, command: Service) -> None:
        """Run a command to its end.

        Raises `ProcessFailed` when its status is not 0, when it takes too long or a service dies
        meanwhile, and `Interrupted`.
        """
        began = time.monotonic()
        running = self._launch(command, watched=False)
        while running.process.poll() is None:
            self.look()
            if time.monotonic() - began > command.timeout:
                raise self._failure(command, f"took longer than {command.timeout:.0f} s")
            time.sleep(PAUSE)
        self._forget(running)
        if status := running.process.returncode:
            raise self._failure(command, _manner(status), abs(status))

    def serve(self) -> None:
        """Watch until a signal (`Interrupted`) or a death (`ProcessFailed`)."""
        while True:
            self.look()
            time.sleep(4 * PAUSE)

    def look(self) -> None:
        """Raise `Interrupted` after a signal, `ProcessFailed` when a service has died."""
        if self._signals:
            raise Interrupted(self._signals[0])
        for running in self._running:
            if running.watched and (status := running.process.poll()) is not None:
                raise self._failure(running.service, _manner(status))

    def tell(self, name: str, text: str) -> None:
        """Pass on a line of progress about something that is not a process of ours."""
        self._say(name, text)

    def end(self, name: str) -> None:
        """Stop one service in its own time."""
        self._stop_one(self._find(name), hurry=lambda: False)

    def kill(self, name: str) -> None:
        """Kill one service and its children without warning, as a crash would."""
        running = self._find(name)
        kill_group(running.process.pid)
        running.process.wait()
        self._forget(running)

    def stop(self) -> None:
        """Stop everything, the last started first. A further signal ends the waiting."""
        seen = len(self._signals)
        for running in reversed(self._running.copy()):
            self._stop_one(running, lambda: len(self._signals) > seen)
        if self._guard.stdin is not None:
            self._guard.stdin.close()
        self._guard.wait()

    def _find(self, name: str) -> Running:
        return next(running for running in self._running if running.service.name == name)

    def _launch(self, service: Service, watched: bool) -> Running:
        with _new_log(self.log(service.name)) as log:
            process = subprocess.Popen(
                service.argv,
                env=os.environ | service.env,
                cwd=service.cwd,
                stdin=subprocess.DEVNULL,
                stdout=None if service.shown else log,
                stderr=None if service.shown else subprocess.STDOUT,
                start_new_session=True,
                **_as_user(service.user),
            )
        running = Running(service, process, watched)
        self._order(f"start {process.pid} {service.stop_signal:d} {service.grace}")
        self._running.append(running)
        self._write_running()
        return running

    def _stop_one(self, running: Running, hurry: Callable[[], bool]) -> None:
        service, process = running.service, running.process
        if not stop_group(process.pid, service.stop_signal, service.grace, hurry):
            self._say(service.name, "did not stop when asked, so it was killed")
        process.wait()
        self._forget(running)

    def _forget(self, running: Running) -> None:
        self._running.remove(running)
        self._order(f"end {running.process.pid}")
        self._write_running()

    def _order(self, line: str) -> None:
        guard_input = self._guard.stdin
        # A guard that was killed is no reason to stop: the supervisor still does its work.
        with contextlib.suppress(BrokenPipeError):
            if guard_input is not None:
                guard_input.write(line.encode() + b"\n")

    def _write_running(self) -> None:
        rows = [
            [r.service.name, r.process.pid, _created(r.process.pid), r.service.stop_signal]
            for r in self._running
        ]
        (self.folder / "running.json").write_text(json.dumps(rows))

    def _failure(self, service: Service, what: str, status: int = 1) -> ProcessFailed:
        lines = [] if service.shown else last_lines(self.log(service.name))
        return ProcessFailed(service.name, what, lines, status)

    def _note_signal(self, number: int, frame: FrameType | None) -> None:
        self._signals.append(number)


def stop_leftovers(folder: Path) -> list[str]:
    """Stop what an earlier supervisor of this folder left running; returns the names.

    Only for whoever holds the folder: it would stop a living supervisor's processes too.
    """
    record = folder / "running.json"
    if not record.exists():
        return []
    left = [row for row in _read_rows(record) if _created(row[1]) == row[2]]
    for _, pid, _, number in reversed(left):
        stop_group(pid, number, grace=10.0)
    record.unlink()
    return [row[0] for row in left]


def last_lines(log: Path) -> list[str]:
    """The end of a log, for a person to read."""
    if not log.exists():
        return []
    return log.read_text(errors="replace").splitlines()[-LAST_LINES:]


def _read_rows(record: Path) -> list[tuple[str, int, float, int]]:
    try:
        return [tuple(row) for row in json.loads(record.read_text())]
    except ValueError:
        # Cut short by the same crash that left the processes; nothing to go by.
        return []


def _created(pid: int) -> float | None:
    """When a living process started: with its id, enough to know it again later."""
    try:
        process = psutil.Process(pid)
        if process.status() != psutil.STATUS_ZOMBIE:
            return process.create_time()
    except psutil.NoSuchProcess:
        pass
    return None


def _start_guard(log: Path, held: Sequence[int]) -> subprocess.Popen[bytes]:
    with log.open("wb") as errors:
        return subprocess.Popen(
            [sys.executable, "-m", "stack.guard"],
            env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[1])},
            bufsize=0,  # nothing left to write when the guard is gone and its input is closed
            stdin=subprocess.PIPE,
            stdout=errors,
            stderr=errors,
            start_new_session=True,
            pass_fds=held,
        )


def _new_log(log: Path) -> IO[bytes]:
    """An empty log; the one before is kept beside it as NAME.before.log."""
    if log.exists():
        log.replace(log.with_suffix(".before.log"))
    return log.open("wb")


def _as_user(name: str | None) -> dict[str, Any]:
    if name is None:
        return {}
    return {"user": name, "group": pwd.getpwnam(name).pw_gid, "extra_groups": []}


def _manner(status: int) -> str:
    if status < 0:
        return f"was killed by {signal.Signals(-status).name}"
    return f"ended with status {status}"
