"""pgBackRest's commands that are needed here."""

import json
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, NamedTuple

from backups.programs import POSTGRES, Failed, run

STANZA: Final = "scalewitness"
USUAL: Final = "/etc/pgbackrest.conf"
UNREADABLE: Final = 99
"""What `info` says of a repository that it fails to read, in whatever way."""
ARCHIVED: Final = re.compile(r"([0-9A-F]{24})-[0-9a-f]{40}")
"""How a segment's file begins in the repository, which names it by its content too."""
PG_PATH: Final = re.compile(r"pg\d+-path")


class Made(NamedTuple):
    """A backup in the repository: its label, ``full``, ``diff`` or ``incr``, when it was done,
    how many bytes the restored database takes, and from which segment on of which archive it
    needs PostgreSQL's log."""

    label: str
    type: str
    stopped_at: datetime
    bytes: int
    segment: str
    archive: str


class Repository(NamedTuple):
    """One database's backups, as pgBackRest's configuration says where they are. ``user``: who
    runs it, where we are root."""

    stanza: str = STANZA
    config: str | None = None
    user: str = POSTGRES

    def command(self, *words: str) -> list[str]:
        """The command line."""
        config = [f"--config={self.config}"] if self.config else []
        return ["pgbackrest", *config, f"--stanza={self.stanza}", *words]

    def run(self, *words: str) -> str:
        """Raises:
        Failed: with pgBackRest's words.
        """
        return run(self.command("--log-level-console=warn", *words), self.user)

    def check(self) -> None:
        """See that what PostgreSQL writes now arrives in the repository: all that was committed
        before is there then.

        Raises:
            Failed: it does not.
        """
        self.made()  # of a repository that cannot be read `check` gives no reason
        self.run("check")

    def configured(self) -> set[str]:
        """The folders of databases that the configuration names.

        Raises:
            Failed: it cannot be read.
        """
        path = Path(self.config or USUAL)
        try:
            lines = path.read_text().splitlines()
        except OSError as fault:
            raise Failed(f"{path}: {fault.strerror}") from None
        named = (line.partition("=") for line in lines)
        return {value.strip() for name, _, value in named if PG_PATH.fullmatch(name.strip())}

    def made(self) -> list[Made]:
        """The backups that are sound and kept, the oldest first.

        Raises:
            Failed: the repository cannot be read.
        """
        printed = run(self.command("--log-level-console=off", "--output=json", "info"), self.user)
        stanza = _stanza(printed)
        archives = {one["database"]["id"]: one["id"] for one in stanza["archive"]}
        sound = [one for one in stanza["backup"] if not one.get("error")]
        return [_made(one, archives.get(one["database"]["id"], "")) for one in sound]

    def archived(self, since: Made) -> set[str]:
        """The segments that the archive holds, from the start of this backup on.

        Raises:
            Failed: the repository cannot be read.
        """
        folder = f"archive/{self.stanza}/{since.archive}"
        listed = run(
            self.command("--log-level-console=off", "--recurse", "repo-ls", folder), self.user
        )
        return {one for one in ARCHIVED.findall(listed) if one >= since.segment}


def _stanza(printed: str) -> dict[str, Any]:
    try:
        (stanza,) = json.loads(printed, strict=False)
        found, status = dict(stanza), stanza["status"]["code"]
    except (ValueError, KeyError, TypeError):
        raise Failed(f"pgbackrest info said: {printed[:200]}") from None
    if status == UNREADABLE:
        raise Failed(
            "pgBackRest cannot read the repository. Is it there, and is repo1-cipher-pass the "
            "passphrase that it was made under? See BACKUPS.md."
        )
    return {"backup": [], "archive": []} | found


def _made(one: dict[str, Any], archive: str) -> Made:
    stopped = datetime.fromtimestamp(one["timestamp"]["stop"], UTC)
    size, first = one["info"]["size"], one["archive"]["start"]
    return Made(one["label"], one["type"], stopped, size, first, archive)
