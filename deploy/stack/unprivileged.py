"""Running a server that refuses root, when we are root.

Such a server runs as `nobody`, who must be able to reach its program and its data. A checkout
under /root, say, is closed to `nobody`; rather than open it, both then live in a folder of
their own under /var/tmp.
"""

import hashlib
import os
import pwd
import shutil
import stat
from contextlib import suppress
from pathlib import Path

ACCOUNT = "nobody"
ELSEWHERE = Path("/var/tmp")  # noqa: S108  the folder made there is checked to be ours

PREFIX = "scalewitness-"
NOTE = "stands-for"


def account() -> str | None:
    """Who a server that refuses root should run as; None when we are an ordinary user."""
    return ACCOUNT if os.geteuid() == 0 else None


def reachable(path: Path) -> bool:
    """Whether the permission bits let everybody read `path` and walk to it."""
    readable = stat.S_IROTH | (stat.S_IXOTH if path.is_dir() else 0)
    walkable = all(parent.stat().st_mode & stat.S_IXOTH for parent in path.parents)
    return walkable and path.stat().st_mode & readable == readable


def folder_elsewhere(folder: Path) -> Path:
    """A folder that everybody can walk to, standing in for `folder`; made if missing.

    Stand-ins of folders that are gone are deleted on the way. Raises `PermissionError` if
    somebody else has put something there.
    """
    for other in ELSEWHERE.glob(f"{PREFIX}*"):
        with suppress(FileNotFoundError):  # deleted by another who came by
            if _is_ours(other) and not _stands_for(other).exists():
                shutil.rmtree(other)
    stand_in = stand_in_for(folder)
    stand_in.mkdir(mode=0o711, exist_ok=True)
    if not _is_ours(stand_in):
        raise PermissionError(f"{stand_in} belongs to somebody else; remove it")
    stand_in.chmod(0o711)
    (stand_in / NOTE).write_text(str(folder.resolve()))
    return stand_in


def stand_in_for(folder: Path) -> Path:
    """The path `folder_elsewhere` uses for a folder: always the same one."""
    mark = hashlib.sha256(str(folder.resolve()).encode()).hexdigest()[:16]
    return ELSEWHERE / f"{PREFIX}{mark}"


def _is_ours(stand_in: Path) -> bool:
    status = stand_in.lstat()
    return stat.S_ISDIR(status.st_mode) and status.st_uid == os.geteuid()


def _stands_for(stand_in: Path) -> Path:
    note = stand_in / NOTE
    # One without a note is still being made, or was never one of these: left alone.
    return Path(note.read_text()) if note.exists() else stand_in


def open_for_all(tree: Path) -> None:
    """Let everybody read a tree, and run what its owner can run."""
    for path in (tree, *tree.rglob("*")):
        if not path.is_symlink():
            mode = stat.S_IMODE(path.stat().st_mode)
            path.chmod(mode | 0o444 | (0o111 if mode & stat.S_IXUSR else 0))


def give(path: Path, user: str | None) -> None:
    """Make a user the owner of a file or folder; nothing to do for None."""
    if user is not None:
        entry = pwd.getpwnam(user)
        os.chown(path, entry.pw_uid, entry.pw_gid)
