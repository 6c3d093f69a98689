"""Files that a person names to be written."""

import os
import stat
from pathlib import Path

from scalewitness_cli.locking import write_whole
from scalewitness_cli.remote import Stopped


def write_out(path: Path, content: str | bytes) -> None:
    """Write what was asked for. A regular file is replaced whole, and keeps who may read it;
    anything else, a device, a pipe, a link, is written to and stays what it is.

    Raises:
        Stopped: it cannot be written; a regular file is then as it was.
    """
    data = content.encode() if isinstance(content, str) else content
    try:
        mode = _mode_of(path)
        if mode is None or stat.S_ISREG(mode):
            if not path.parent.is_dir():
                raise Stopped(f"There is no folder {path.parent}. Nothing was written.")
            write_whole(path, data, mode=0o644 if mode is None else stat.S_IMODE(mode))
        else:
            with path.open("wb") as file:
                file.write(data)
    except OSError as fault:
        raise Stopped(f"{path} cannot be written: {fault.strerror or fault}.") from None


def _mode_of(path: Path) -> int | None:
    """Of the name itself, not of what a link leads to."""
    try:
        return os.lstat(path).st_mode
    except FileNotFoundError:
        return None
