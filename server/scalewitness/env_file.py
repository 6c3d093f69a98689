"""The file that the settings are kept in: one ``NAME=value`` a line, and comments.

systemd (``EnvironmentFile=``), podman and docker (``--env-file``) and compose (``env_file``) read
the same file, and agree only on values as they stand, without quotation marks and what looks like
markup to one of them. So nothing else is taken here either. A shell does not read it.
"""

import os
import re
from collections.abc import Mapping, MutableMapping
from pathlib import Path
from typing import Final

VARIABLE: Final = "SCALEWITNESS_ENV_FILE"
"""Names the file to every process: web, worker, beat and command."""
USUAL: Final = Path("/etc/scalewitness/env")
"""Where the command looks if nothing names it."""
_NAME: Final = re.compile(r"[A-Z][A-Z0-9_]*")
_UNSAFE: Final = re.compile(r"[\"'\\$`#\x00-\x1f\x7f]|^\s|\s$")
"""What some of its readers would take for something else than itself."""


class BadEnvFile(ValueError):
    """The file, or a value for it, cannot be taken; the words never hold a value."""


def require_plain(name: str, value: str) -> None:
    """
    Raises:
        BadEnvFile: not every reader of the file would read the value as it stands.
    """
    if not _NAME.fullmatch(name):
        raise BadEnvFile(f"{name!r} is no name of a setting: capital letters, digits and _")
    if _UNSAFE.search(value):
        raise BadEnvFile(
            f"{name}: a value is one line without quotation marks, #, $, ` or \\, and without "
            "spaces at its ends. In an address write them as %XX"
        )


def parsed(text: str) -> dict[str, str]:
    """The settings in the text of a file.

    Raises:
        BadEnvFile: a line is none of a file like this.
    """
    found: dict[str, str] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip() or line.startswith("#"):
            continue
        name, equals, value = line.partition("=")
        if not equals or name in found:
            what = "stands twice" if equals else "is not NAME=value"
            raise BadEnvFile(f"line {number} {what}")
        try:
            require_plain(name, value)
        except BadEnvFile as fault:
            raise BadEnvFile(f"line {number}: {fault}") from None
        found[name] = value
    return found


def read(path: Path) -> dict[str, str]:
    """
    Raises:
        BadEnvFile: it cannot be read, or not taken.
    """
    try:
        return parsed(path.read_text())
    except OSError as fault:
        raise BadEnvFile(f"{path} cannot be read: {fault.strerror}") from None
    except UnicodeDecodeError:
        raise BadEnvFile(f"{path} is not text in UTF-8") from None
    except BadEnvFile as fault:
        raise BadEnvFile(f"{path}: {fault}") from None


def owners(path: Path) -> Path:
    """The file beside it, with what web and worker must not know: the owner's address of the
    database."""
    return path.with_name(f"{path.name}.owner")


def load(environment: MutableMapping[str, str] = os.environ) -> None:
    """Take the settings from the file that the environment names, if it names one. What the
    environment itself says counts.

    Raises:
        BadEnvFile: there is no such file, or it cannot be taken.
    """
    if environment.get(VARIABLE):
        add(read(Path(environment[VARIABLE])), environment)


def load_for_operator(environment: MutableMapping[str, str] = os.environ) -> None:
    """Choose the usual file where nothing names one and nothing is set, and take the owner's file
    beside it too, where this account may read it.

    Raises:
        BadEnvFile: a file cannot be taken.
    """
    if "SECRET_KEY" not in environment and USUAL.exists():
        environment.setdefault(VARIABLE, str(USUAL))
    if environment.get(VARIABLE):
        beside = owners(Path(environment[VARIABLE]))
        if os.access(beside, os.R_OK):
            add(read(beside), environment)


def add(settings: Mapping[str, str], environment: MutableMapping[str, str]) -> None:
    """Those that are not set yet."""
    for name, value in settings.items():
        environment.setdefault(name, value)


def filled(text: str, values: Mapping[str, str]) -> str:
    """The text with these settings: each in its place where the text names it, also in a comment
    (``# NAME=``), else at the end.

    Raises:
        BadEnvFile: a value does not fit in such a file.
    """
    lines, left = text.splitlines(), dict(values)
    for name, value in values.items():
        require_plain(name, value)
        place = re.compile(rf"(?:# ?)?{name}=.*")
        at = [number for number, line in enumerate(lines) if place.fullmatch(line)]
        if at:
            lines[at[-1]] = f"{name}={left.pop(name)}"
    lines += [f"{name}={value}" for name, value in left.items()]
    return "\n".join(lines) + "\n"
