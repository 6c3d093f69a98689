"""Running pgBackRest, PostgreSQL's programs and the service's commands, each as its own user."""

import os
import pwd
import shutil
import signal
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

LAST_LINES: Final = 4
"""Of what a program that failed said last: that is where its reason stands."""
POSTGRES: Final = "postgres"
"""Debian's account for the database server, and PostgreSQL's first superuser."""


class Failed(Exception):
    """A step failed; the text says which, with the program's own words."""


def end_in_order() -> None:
    """Let SIGTERM end this process as a fault would: what it started is stopped and tidied away."""
    signal.signal(signal.SIGTERM, lambda number, frame: sys.exit(128 + number))


def run(argv: Sequence[str], user: str | None = None, env: Mapping[str, str] | None = None) -> str:
    """Run a program to its end and give what it printed.

    ``user``: as whom, where we are root. ``env``: its whole environment; ours if None.

    Raises:
        Failed: it ended with another status than 0, or is not there.
    """
    account = _account(user)
    try:
        done = subprocess.run(
            argv,
            env=dict(os.environ if env is None else env) | _home(account),
            cwd="/",
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            errors="replace",  # pgBackRest prints what it failed to decrypt
            check=False,
            user=account.pw_uid if account else None,
            group=account.pw_gid if account else None,
            extra_groups=_groups(account),
        )
    except OSError as fault:
        raise Failed(f"{argv[0]}: {fault.strerror}") from None
    if done.returncode:
        raise Failed(f"{Path(argv[0]).name} ended with {done.returncode}: {_last(done.stdout)}")
    return done.stdout


def start(argv: Sequence[str], user: str | None, log: Path) -> "subprocess.Popen[bytes]":
    """Start a server; what it says goes to the file."""
    account = _account(user)
    with log.open("wb") as output:
        return subprocess.Popen(
            argv,
            env=dict(os.environ) | _home(account),
            cwd="/",
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=subprocess.STDOUT,
            start_new_session=True,
            user=account.pw_uid if account else None,
            group=account.pw_gid if account else None,
            extra_groups=_groups(account),
        )


def give(path: Path, user: str | None) -> None:
    """Make a user the owner of a file or folder, where we are root."""
    account = _account(user)
    if account is not None:
        os.chown(path, account.pw_uid, account.pw_gid)


def server_programs(given: Path | None) -> Path:
    """The folder of PostgreSQL's server programs: the one given, else Debian's newest.

    Raises:
        Failed: there is none.
    """
    if given is not None:
        return given
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/postgres"), key=_version)
    if not found:
        raise Failed("There is no PostgreSQL server here. On Debian: apt-get install postgresql")
    return found[-1].parent


def require(program: str, package: str) -> None:
    """Raises:
    Failed: the program is not installed.
    """
    if shutil.which(program) is None:
        raise Failed(f"{program} is not installed. On Debian: apt-get install {package}")


def _version(program: Path) -> int:
    name = program.parents[1].name
    return int(name) if name.isdigit() else 0


def _account(user: str | None) -> pwd.struct_passwd | None:
    """None where the program runs as whoever we are."""
    if user is None or os.geteuid() != 0:
        return None
    try:
        return pwd.getpwnam(user)
    except KeyError:
        raise Failed(f"There is no account {user} on this host.") from None


def _groups(account: pwd.struct_passwd | None) -> list[int] | None:
    return os.getgrouplist(account.pw_name, account.pw_gid) if account else None


def _home(account: pwd.struct_passwd | None) -> dict[str, str]:
    return {"HOME": account.pw_dir, "USER": account.pw_name} if account else {}


def _last(output: str) -> str:
    return " / ".join(line.strip() for line in output.splitlines()[-LAST_LINES:] if line.strip())
