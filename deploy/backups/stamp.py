"""What became of the last backup, of the archive and of the last drill, in one small file.

Whoever watches judges its age: a backup that is not made any more writes nothing.
"""

import fcntl
import json
import os
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Final, Literal, TypedDict

from backups.programs import Failed

Part = Literal["backup", "archive", "drill"]
STAMP: Final = Path("/var/lib/scalewitness-backups/stamp.json")
MOST_WORDS: Final = 600
"""Characters of what a program said: enough for its reason, and the file stays small."""


class Outcome(TypedDict):
    """Of the last attempt: ``at`` when it ended and whether it went well, with ``words``;
    ``good_at``: when one last went well. Times in ISO 8601, UTC."""

    at: str
    ok: bool
    good_at: str | None
    words: str


def write(path: Path, part: Part, words: str, now: datetime, *, ok: bool) -> None:
    """Note how an attempt ended; what the file says of the other parts stays.

    Raises:
        OSError: the file cannot be written.
    """
    with _alone(path.parent):
        outcomes = read(path)
        before = outcomes.get(part)
        at = now.isoformat(timespec="seconds")
        good_at = at if ok else before["good_at"] if before else None
        outcomes[part] = Outcome(at=at, ok=ok, good_at=good_at, words=words[-MOST_WORDS:])
        _replace(path, json.dumps(outcomes, indent=1) + "\n")


def noted(path: Path, part: Part, attempt: Callable[[], str]) -> bool:
    """Make an attempt, note how it ended, and print it; whether it went well. One that is ended
    from outside, as for taking too long, has failed too.

    Raises:
        OSError: it cannot be noted.
    """
    try:
        words, ok = attempt(), True
    except Failed as fault:
        words, ok = str(fault), False
    except BaseException as fault:
        _note(path, part, f"it was ended before it was done ({type(fault).__name__})", ok=False)
        raise
    _note(path, part, words, ok=ok)
    return ok


def _note(path: Path, part: Part, words: str, *, ok: bool) -> None:
    write(path, part, words, datetime.now(UTC), ok=ok)  # noqa: TID251  an entry point
    print(f"{part}: {words}", file=sys.stdout if ok else sys.stderr, flush=True)


def read(path: Path) -> dict[str, Outcome]:
    """What the file says of each part; nothing where there is no file, or no sound one."""
    try:
        found = json.loads(path.read_text())
    except (FileNotFoundError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """One writer at a time, whoever they are: the folder itself is locked, since a lock file
    would be its first writer's."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        yield
    finally:
        os.close(descriptor)


def _replace(path: Path, text: str) -> None:
    descriptor, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    with os.fdopen(descriptor, "w") as file:
        file.write(text)
        file.flush()
        os.fsync(descriptor)
        os.fchmod(descriptor, 0o644)  # whoever watches is another user
    Path(name).replace(path)
