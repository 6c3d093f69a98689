"""A check of somebody else's that its keeper reports: whose it was, and what they wrote."""

import re
from hashlib import sha256
from pathlib import Path
from typing import NamedTuple

from scalewitness.domain import choices
from scalewitness.domain.choices import words
from scalewitness.domain.methods import METHODS
from scalewitness_cli.checks import BadWord
from scalewitness_cli.identity import fresh_id
from scalewitness_cli.practitioners import MOST, known
from scalewitness_cli.store import Store

WHOSE = words(choices.REPORTED)
_FINGERPRINT = re.compile(r"[0-9A-Fa-f]{64}")


class Reported(NamedTuple):
    """Whose check it was; ``is_new``: this device names them for the first time."""

    role: str
    who: str
    name: str
    is_new: bool


def whose(
    store: Store, method: str, role: str | None, name: str | None, *, steward: bool
) -> Reported | None:
    """Whose check it was, by what was said of it; None for one's own.

    Raises:
        BadWord: something is missing, or this is not to be reported so.
    """
    check_may_report(method, role, steward=steward)
    _check_by_whom(method, role, bool(name))
    if not role:
        return None
    full = " ".join((name or "").split())
    if not full:
        raise BadWord("Say whose check it was: --whose-name.")
    if len(full) > MOST or not full.isprintable():
        raise BadWord(f"A name has at most {MOST} characters.")
    found = known(store, full)
    return Reported(role, found or fresh_id(), full, found is None)


def check_may_report(method: str, role: str | None, *, steward: bool) -> None:
    """Raises BadWord where it would be a report, and whoever enters it does not keep the animal."""
    if (role or _only(method)) and not steward:
        raise BadWord("Only whoever keeps the animal reports somebody else's check of it.")


def _only(method: str) -> str | None:
    return METHODS[method].only_of_a if method in METHODS else None


def _check_by_whom(method: str, role: str | None, named: bool) -> None:
    only = _only(method)
    if only and role != only:
        raise BadWord(f"Only a {only} does this: report it as theirs, with --whose {only}.")
    if role and method == "statement":
        raise BadWord("A statement has its own source.")
    if named and not role:
        raise BadWord(f"Say what they are: --whose {', '.join(WHOSE)}.")


def fingerprint(text: str | None) -> str | None:
    """The SHA-256 of the report that is named by its file, or as it was given.

    Raises:
        BadWord: it is neither.
    """
    if not text:
        return None
    file = Path(text)
    if file.is_file():
        return sha256(file.read_bytes()).hexdigest()
    if _FINGERPRINT.fullmatch(text.strip()):
        return text.strip().lower()
    raise BadWord(f"“{text}” is neither a file nor a fingerprint of 64 hexadecimal digits.")
