"""Which logs and witnesses this machine trusts: their public keys, one on a line."""

import os
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from scalewitness.domain.translog.keys import BadKey, KeyType, VerifierKey, read_verifier
from scalewitness_cli.locking import locked, write_whole

VARIABLE = "SCALEWITNESS_KEYS"
"""Names another file of trusted keys."""


def keys_file(environ: Mapping[str, str] = os.environ) -> Path:
    """Where trusted keys are kept: by the XDG base directory specification, unless named."""
    if named := environ.get(VARIABLE):
        return Path(named)
    base = environ.get("XDG_CONFIG_HOME") or str(Path(environ.get("HOME", "~"), ".config"))
    return Path(base, "scalewitness", "keys").expanduser()


def kept_keys(path: Path) -> list[VerifierKey]:
    """The keys in the file; none where there is no file. Lines of ``#`` are remarks.

    Raises:
        BadKey: a line is no key; the text names it.
    """
    if not path.is_file():
        return []
    found = []
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1):
        text = line.strip()
        if text and not text.startswith("#"):
            try:
                found.append(read_verifier(text))
            except BadKey as fault:
                raise BadKey(f"{path}, line {number}: {fault}") from None
    return found


def wanted_file() -> Path:
    """Where it is kept how many witnesses are asked for: beside the keys."""
    return keys_file().with_name("witnesses")


def add_key(file: Path, key: VerifierKey) -> None:
    """Keep the key among those trusted on this machine."""
    with locked(file.with_name(f".{file.name}.lock")):
        if key not in kept_keys(file):
            text = file.read_text(encoding="utf-8") if file.is_file() else ""
            line = "" if not text or text.endswith("\n") else "\n"
            write_whole(file.resolve(), f"{text}{line}{key}\n")  # where a link leads to


def log_keys(keys: Iterable[VerifierKey], origin: str) -> list[VerifierKey]:
    """The keys that may speak for the log: it may have had several, one after another."""
    return [key for key in keys if key.type is KeyType.ED25519 and key.name == origin]


def log_names(keys: Iterable[VerifierKey]) -> list[str]:
    """The logs that keys are known of."""
    return list(dict.fromkeys(key.name for key in keys if key.type is KeyType.ED25519))


def witness_keys(keys: Iterable[VerifierKey]) -> Sequence[VerifierKey]:
    return [key for key in keys if key.type is not KeyType.ED25519]
