"""Reads back the letters that the demo's mail sink stored in a Maildir."""

import re
import time
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path
from typing import Literal

from scalewitness_cli.remote import Stopped

TIMEOUT = 90.0
"""Seconds to wait for a letter: the worker looks every ten, and a first try may fail."""
PAUSE = 0.2


@dataclass(frozen=True)
class Letter:
    """One message as it was accepted for delivery."""

    message: EmailMessage

    @property
    def to(self) -> str:
        return str(self.message["Delivered-To"])

    @property
    def id(self) -> str:
        return str(self.message["Message-ID"]).strip()

    @property
    def kind(self) -> str:
        """What letter it is, as its own header says."""
        return str(self.message["X-Scalewitness-Letter"])

    @property
    def subject(self) -> str:
        return str(self.message["Subject"])

    @property
    def text(self) -> str:
        return self._part("plain")

    @property
    def html(self) -> str:
        return self._part("html")

    def _part(self, subtype: Literal["plain", "html"]) -> str:
        part = self.message.get_body((subtype,))
        return str(part.get_content()) if part is not None else ""

    def token(self) -> str:
        """The token of the buyer's link. Raises Stopped when there is none."""
        found = re.search(r"/offers/([^\s/?#\"]+)", self.text)
        if found is None:
            raise Stopped(f"there is no link in the letter {self.id}")
        return found[1]

    def link(self, below: str) -> str:
        """The link to a page ``below`` the accounts' own. Raises Stopped when there is none."""
        found = re.search(rf"https?://\S+/accounts/{re.escape(below)}/\S+", self.text)
        if found is None:
            raise Stopped(f"there is no such link in the letter {self.id}")
        return found[0]


@dataclass
class Letters:
    """A Maildir. Each file is read once: a Maildir's files never change."""

    maildir: Path
    _read: dict[str, Letter] = field(default_factory=dict)

    def to(self, address: str, kind: str | None = None) -> list[Letter]:
        """All letters so far to an address, oldest first."""
        for folder in ("new", "cur"):
            for path in (self.maildir / folder).glob("*"):
                name = path.name.partition(":")[0]
                if name not in self._read:
                    self._read[name] = _parse(path)
        found = [letter for _, letter in sorted(self._read.items()) if letter.to == address]
        return [letter for letter in found if kind in {None, letter.kind}]

    def wait(self, address: str, kind: str, count: int = 1) -> Letter:
        """The ``count``-th letter of this kind to this address.

        Raises:
            Stopped: it did not come in time.
        """
        deadline = time.monotonic() + TIMEOUT
        while time.monotonic() < deadline:
            found = self.to(address, kind)
            if len(found) >= count:
                return found[count - 1]
            time.sleep(PAUSE)
        raise Stopped(
            f"no {kind} letter to {address} in {TIMEOUT:.0f} s (looked in {self.maildir})"
        )


def _parse(path: Path) -> Letter:
    message = message_from_bytes(path.read_bytes(), policy=policy.default)
    return Letter(message)
