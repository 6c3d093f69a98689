"""What Podman says of the containers, and what goes on in them."""

import json
import os
import signal
import subprocess
import time
from collections.abc import Callable, Iterator, Mapping
from typing import Any

PROJECT = "scalewitness-trial"
OURS = ("postgres", "queue", "web", "worker", "beat", "proxy")
RIGHTS = {
    "postgres": {"CHOWN", "DAC_OVERRIDE", "FOWNER", "SETGID", "SETUID"},
    "proxy": {"NET_BIND_SERVICE"},
}
"""That compose.yaml gives back; the others have none."""
BITS = {
    "CHOWN": 0,
    "DAC_OVERRIDE": 1,
    "FOWNER": 3,
    "SETGID": 6,
    "SETUID": 7,
    "NET_BIND_SERVICE": 10,
}
"""Of capabilities in a process's status, capabilities(7)."""
LONGEST = 180.0
"""Seconds for what comes up by itself."""


class Containers:
    """Those of compose.yaml, under the names that it gives them."""

    def __init__(self, added: Mapping[str, str]) -> None:
        """``added``: to this process's environment."""
        self._env = os.environ | added

    def podman(self, *argv: str, check: bool = True) -> str:
        """What it prints.

        Raises:
            CalledProcessError: it did not end well.
        """
        done = subprocess.run(
            ["podman", *argv], env=self._env, capture_output=True, text=True, check=check
        )
        return done.stdout.strip()

    def logs(self, part: str) -> list[str]:
        """The lines that a container has written, errors too."""
        argv = ["podman", "logs", name_of(part)]
        both = subprocess.run(
            argv,
            env=self._env,
            check=True,
            text=True,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
        )
        return both.stdout.splitlines()

    def inside(self, part: str, *argv: str, user: str = "") -> str:
        """What a command in a container prints; how it ends makes no difference."""
        as_user = ["--user", user] if user else []
        return self.podman("exec", *as_user, name_of(part), *argv, check=False)

    def seen(self, part: str) -> dict[str, Any]:
        """All that ``podman inspect`` shows."""
        (shown,) = json.loads(self.podman("inspect", name_of(part)))
        return dict(shown)

    def there(self) -> dict[str, str]:
        """Every container of the trial, by name: what it is doing."""
        fields = "{{.Names}} {{.State}}"
        mine = f"label=io.podman.compose.project={PROJECT}"
        lines = self.podman("ps", "--all", "--filter", mine, "--format", fields).splitlines()
        return dict(line.split(" ", 1) for line in lines)

    def is_well(self, part: str) -> bool:
        """Whether it passes its health check now. Where there is no systemd, Podman asks only when
        told to."""
        argv = ["podman", "healthcheck", "run", name_of(part)]
        done = subprocess.run(argv, env=self._env, capture_output=True, check=False)
        return done.returncode == 0

    def crash(self, part: str) -> None:
        """Its first process ends as by a fault, not by Podman's command."""
        os.kill(int(self.seen(part)["State"]["Pid"]), signal.SIGKILL)

    def faults_of_holding(self) -> Iterator[str]:
        """Where a container can do what compose.yaml says that it cannot."""
        for part in OURS:
            if not self.seen(part)["HostConfig"]["ReadonlyRootfs"]:
                yield f"{part}: inspect does not say that its file system is read-only"
            for folder in ("/usr", "/etc", "/opt"):
                if self.inside(part, "sh", "-c", f"touch {folder}/x && echo yes", user="0"):
                    yield f"{part}: {folder} can be written"
            status = _status(self.inside(part, "cat", "/proc/1/status"))
            wanted = sum(1 << BITS[one] for one in RIGHTS.get(part, ()))
            if int(status["CapBnd"], 16) != wanted:
                yield f"{part}: capabilities {status['CapBnd']}"
            if status["NoNewPrivs"] != "1":
                yield f"{part}: may get new privileges"

    def remove(self) -> None:
        """All of it, with its volumes and networks."""
        for name in self.there():
            self.podman("rm", "--force", "--time", "5", name, check=False)
        mine = f"label=io.podman.compose.project={PROJECT}"
        for kind in ("volume", "network"):
            for name in self.podman(kind, "ls", "--quiet", "--filter", mine).split():
                self.podman(kind, "rm", name, check=False)


def name_of(part: str) -> str:
    return f"scalewitness-{part}"


def comes_true(holds: Callable[[], bool]) -> bool:
    """Whether it does within that time."""
    deadline = time.monotonic() + LONGEST
    while time.monotonic() < deadline:
        if holds():
            return True
        time.sleep(1)
    return False


def _status(text: str) -> dict[str, str]:
    pairs = (line.partition(":") for line in text.splitlines())
    return {name: value.strip() for name, _, value in pairs}
