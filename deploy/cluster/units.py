"""What runs on a host, and is started again when it ends, as systemd does with Restart=always."""

import os
import signal
import subprocess
import threading
import time
from collections.abc import Mapping, Sequence
from pathlib import Path

from cluster.hosts import Host

AGAIN_AFTER = 1.0
"""Seconds until what ended is started again."""


class Unit:
    """A service on a host, with its children. ``user``: who runs it, root where it is empty."""

    def __init__(
        self,
        name: str,
        host: Host,
        argv: Sequence[str],
        logs: Path,
        env: Mapping[str, str] | None = None,
        user: str = "",
    ) -> None:
        self.name, self.host = name, host
        self._argv, self._env = [*as_user(user), *argv], dict(env or {})
        self._log = logs / f"{host.name}-{name}.log"
        self._wanted = False
        self._process: subprocess.Popen[bytes] | None = None
        self._keeper: threading.Thread | None = None

    def __str__(self) -> str:
        return f"{self.name} on {self.host.name}"

    def start(self) -> None:
        """Keep it running from now on."""
        self._wanted = True
        if self._keeper is None or not self._keeper.is_alive():
            self._keeper = threading.Thread(target=self._keep, name=str(self), daemon=True)
            self._keeper.start()

    def end(self) -> None:
        """Start it no more, and kill what runs."""
        self._wanted = False
        while self._keeper is not None and self._keeper.is_alive():
            self.kill()  # again, where it was just being started
            self._keeper.join(0.1)

    def kill(self) -> None:
        """SIGKILL to it and its children."""
        self.send(signal.SIGKILL)

    def send(self, number: signal.Signals) -> None:
        """A signal to all of its processes; those that left its group, as PostgreSQL leaves
        Patroni's, are none of it."""
        process = self._process
        if process is not None and process.poll() is None:
            try:
                os.killpg(process.pid, number)
            except ProcessLookupError:
                return

    def _keep(self) -> None:
        while self._wanted:
            with self._log.open("ab") as log:
                self._process = subprocess.Popen(
                    self.host.within(self._argv),
                    env=os.environ | self._env,
                    cwd="/",
                    stdin=subprocess.DEVNULL,
                    stdout=log,
                    stderr=log,
                    start_new_session=True,
                )
            self._process.wait()
            time.sleep(AGAIN_AFTER)


def as_user(name: str) -> list[str]:
    """How a command line begins that somebody else runs; empty: root."""
    return ["setpriv", f"--reuid={name}", f"--regid={name}", "--init-groups"] if name else []
