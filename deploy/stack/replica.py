"""A streaming replica of `stack.postgres`, on the same machine, for tests and benches."""

import signal
from dataclasses import replace
from pathlib import Path

from stack.postgres import SUPERUSER, Postgres
from stack.ready import LOOPBACK
from stack.supervisor import Service, Supervisor


class Replica(Postgres):
    """Made from a running server by `pg_basebackup`, and follows it. It has the same roles and
    passwords, as it has the same tables."""

    def __init__(self, folder: Path, primary: Postgres) -> None:
        super().__init__(folder, durable=primary.durable)
        self._primary = primary

    def _password(self, role: str) -> str:
        return self._primary._password(role)

    def _create(self, supervisor: Supervisor) -> None:
        self._make(supervisor, self._copied)

    def _copied(self, making: Path) -> Service:
        options = ["--write-recovery-conf", "--checkpoint=fast", "--wal-method=stream"]
        if not self.durable:
            options.append("--no-sync")
        return Service(
            "basebackup",
            [
                self._program("pg_basebackup"),
                *options,
                f"--pgdata={making}",
                f"--host={LOOPBACK}",
                f"--port={self._primary.port}",
                f"--username={SUPERUSER}",
            ],
            env={"PGPASSWORD": self._password(SUPERUSER)},
            user=self._user,
            cwd=Path("/"),
            timeout=120,
        )

    def _service(self) -> Service:
        # An immediate stop: a fast one would wait for whoever still follows, and nothing is lost.
        return replace(super()._service(), name="replica", stop_signal=signal.SIGQUIT)

    def _ensure_roles(self) -> None:
        """They came with the copy."""
