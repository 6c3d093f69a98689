"""A restored cluster that nobody but us can reach yet: it recovers, and we look at it."""

import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from backups.pgbackrest import Repository
from backups.programs import POSTGRES, Failed, give, run, start

FETCH_WAL: Final = Path(__file__).with_name("fetch-wal")
PAUSE: Final = 0.2
STOPS_WITHIN: Final = 120
ANSWERS_WITHIN: Final = 30
"""Seconds."""
READY: Final = "database system is ready to accept connections"
ALONE: Final = (
    # What ALTER SYSTEM said on the lost server came along with the backup; this overrides it.
    "synchronous_standby_names=",
    "shared_preload_libraries=",
    "ssl=off",
    "hot_standby=off",  # nobody is let in before recovery is over
    "unix_socket_permissions=0700",
    "logging_collector=off",
    "timezone=UTC",
)
ANY_PORT: Final = 5432
"""It only names the socket."""
SUPERUSER_MAY: Final = "local all postgres trust\n"
"""In a folder that only the server's account can enter."""
ROLES_MAY: Final = "host all all 127.0.0.1/32 scram-sha-256\n"


def restore(
    repository: Repository, data: Path, received: Path | None, *words: str, archive: bool
) -> None:
    """The newest backup into ``data``, with how it gets what was written since. ``archive``:
    whether it goes on archiving to this repository.

    Raises:
        Failed: with pgBackRest's words.
    """
    fetch = [str(FETCH_WAL), "%f", "%p", repository.config or "", repository.stanza]
    command = " ".join(_quoted(one) for one in [*fetch, str(received or "")])
    repository.run(
        "restore",
        f"--pg1-path={data}",
        f"--archive-mode={'preserve' if archive else 'off'}",
        f"--recovery-option=restore_command={command}",
        *words,
    )


def _quoted(word: str) -> str:
    """For the shell, within the single quotes that pgBackRest puts round the whole. PostgreSQL puts
    file and target where %f and %p stand."""
    if set(word) & set("\"'$`\\\n"):
        raise Failed(f"{word!r}: PostgreSQL cannot be given a path with such signs.")
    return word if word in {"%f", "%p"} else f'"{word}"'


class Private:
    """A running server, reached by a socket in a folder of its own, and perhaps by the loopback."""

    def __init__(self, folder: Path, port: int, programs: Path) -> None:
        self._folder, self.port, self._programs = folder, port, programs

    def ask(self, database: str, statement: str) -> str:
        """The answer to a statement, as the superuser.

        Raises:
            Failed: with PostgreSQL's words.
        """
        reach = [f"--host={self._folder}", f"--port={self.port}", f"--username={POSTGRES}"]
        reach.append(f"--dbname={database}")
        words = ["--no-psqlrc", "--quiet", "--tuples-only", "--no-align", "--no-password"]
        words += ["--set=ON_ERROR_STOP=1", f"--command={statement}"]
        return run([str(self._programs / "psql"), *reach, *words], POSTGRES).strip()


@contextmanager
def running(
    data: Path, programs: Path, *settings: str, port: int | None = None
) -> Iterator[Private]:
    """Start it, wait until it has recovered, and stop it at the end of the block.

    Raises:
        Failed: it does not recover; the text has the last of what it said.
    """
    with tempfile.TemporaryDirectory(prefix="scalewitness-private-") as made:
        folder = Path(made)
        hba = folder / "pg_hba.conf"
        hba.write_text(SUPERUSER_MAY + (ROLES_MAY if port else ""))
        (folder / "postgresql.conf").touch()
        for path in (hba, folder / "postgresql.conf", folder):
            give(path, POSTGRES)
        own = [f"hba_file={hba}", f"unix_socket_directories={folder}"]
        own += [f"listen_addresses={'127.0.0.1' if port else ''}", f"port={port or ANY_PORT}"]
        argv = [str(programs / "postgres"), "-D", str(data)]
        argv += ["-c", f"config_file={folder / 'postgresql.conf'}"]
        for setting in (*ALONE, *own, *settings):
            argv += ["-c", setting]
        log = folder.with_suffix(".log")
        process = start(argv, POSTGRES, log)
        try:
            server = Private(folder, port or ANY_PORT, programs)
            _wait(server, process, log)
            yield server
        finally:
            _stop(process)
            log.unlink(missing_ok=True)


def _wait(server: Private, process: "subprocess.Popen[bytes]", log: Path) -> None:
    """However long recovery takes, as long as the server lives."""
    fault = ""
    until: float | None = None
    while process.poll() is None and (until is None or time.monotonic() < until):
        try:
            if server.ask("postgres", "SELECT pg_is_in_recovery()") == "f":
                return
        except Failed as refused:
            fault = str(refused)
        if until is None and READY in log.read_text(errors="replace"):
            until = time.monotonic() + ANSWERS_WITHIN
        time.sleep(PAUSE)
    last = log.read_text(errors="replace").splitlines()[-6:]
    raise Failed("The restored cluster did not recover: " + " / ".join([*last, fault]))


def _stop(process: "subprocess.Popen[bytes]") -> None:
    if process.poll() is None:
        process.send_signal(signal.SIGINT)  # a fast shutdown: ends sessions, keeps every commit
        try:
            process.wait(STOPS_WITHIN)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def free_port() -> int:
    """A port of the loopback that nobody held a moment ago."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
