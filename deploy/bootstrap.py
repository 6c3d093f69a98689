"""Makes the environment a command runs in, then becomes that command.

``python bootstrap.py LOCK ENVIRONMENT COMMAND...``: the environment is made anew when LOCK or the
Python has changed, then COMMAND replaces this process, run by the environment's Python or a
program of its own. Uses the standard library alone.
"""

import fcntl
import hashlib
import os
import subprocess
import sys
import time
import venv
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

SHOWN_ON_FAILURE = 25
"""Lines of pip's output shown when it fails."""

FETCHING = ("Collecting ", "Processing ")
"""How pip begins its line about a package: from an index, from a local file."""


def main() -> None:
    lock, environment, *command = sys.argv[1:]
    try:
        ensure(Path(lock), Path(environment))
    except KeyboardInterrupt:
        sys.exit("\nStopped while preparing the environment; the next run starts it again.")
    except PermissionError as reason:
        sys.exit(
            f"{shown(Path(environment))} is another user's ({reason}). Remove it as that user."
        )
    become(Path(environment), command)


def ensure(lock: Path, environment: Path) -> None:
    """Make the environment unless it already is what the lock asks for."""
    environment.parent.mkdir(parents=True, exist_ok=True)
    wanted = stamp_of(lock, environment)
    stamp = environment / "made-from"
    with alone(environment.with_name(environment.name + ".lock")):
        if stamp.exists() and stamp.read_text() == wanted:
            return
        if environment.is_symlink():  # venv would empty its target, and then refuse the link
            sys.exit(f"{shown(environment)} leads to what another lock made. Remove that link.")
        began = time.monotonic()
        print(f"Preparing {shown(environment)} (once for each change of the lock):", flush=True)
        venv.EnvBuilder(clear=True, with_pip=True, symlinks=True).create(environment)
        install(lock, environment)
        stamp.write_text(wanted)
        print(f"Prepared in {time.monotonic() - began:.0f} s.", flush=True)


def stamp_of(lock: Path, environment: Path) -> str:
    """What an environment is made from: the lock, this Python, and its own place."""
    digest = hashlib.sha256(lock.read_bytes()).hexdigest()
    return f"{digest}\n{sys.version}\n{os.path.realpath(sys.executable)}\n{environment.resolve()}\n"


@contextmanager
def alone(lock: Path) -> Iterator[None]:
    """One at a time: a second command waits for the first to finish preparing."""
    with lock.open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


def install(lock: Path, environment: Path) -> None:
    """Install exactly what the lock names, each file checked against its hashes."""
    total = sum("==" in line and not line.startswith(" ") for line in lock.open())
    pip = [str(environment / "bin" / "python"), "-I", "-m", "pip", "--disable-pip-version-check"]
    options = ["install", "--no-input", "--require-hashes", "--progress-bar", "off"]
    process = subprocess.Popen(
        [*pip, *options, "-r", str(lock)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    lines = []
    for line in process.stdout or ():
        lines.append(line)
        show_progress(line, sum(each.startswith(FETCHING) for each in lines), total)
    if process.wait() != 0:
        print("\n" + "".join(lines[-SHOWN_ON_FAILURE:]), file=sys.stderr)
        sys.exit("The packages could not be installed; pip's words are above.")


def show_progress(line: str, count: int, total: int) -> None:
    """One line that rewrites itself on a terminal; every tenth package in a log."""
    if line.startswith(FETCHING):
        text = f"  {count}/{total} {Path(line.split()[1]).name}"
        if sys.stdout.isatty():
            print(f"\r\033[K{text}", end="", flush=True)
        elif count % 10 == 1:
            print(text, flush=True)
    elif line.startswith("Installing collected packages"):
        start = "\r\033[K" if sys.stdout.isatty() else ""
        print(f"{start}  unpacking {count} packages", flush=True)


def become(environment: Path, command: list[str]) -> None:
    """Replace this process by the command."""
    programs = environment.resolve() / "bin"
    os.environ["PATH"] = f"{programs}{os.pathsep}{os.environ.get('PATH', '')}"
    os.environ["VIRTUAL_ENV"] = str(environment.resolve())
    os.execvp(command[0], command)  # noqa: S606  the command comes from our own scripts


def shown(path: Path) -> str:
    """A path as seen from here, when it lies below."""
    here = Path.cwd()
    return str(path.relative_to(here) if path.is_relative_to(here) else path)


if __name__ == "__main__":
    main()
