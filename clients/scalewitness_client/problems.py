"""What can go wrong besides the server's own refusals, as exceptions."""

from collections.abc import Mapping
from typing import Any

from scalewitness_cli.remote import Stopped


class InvalidFact(ValueError):
    """A body has a value that is not possible. Nothing was stored."""


class LogAlarm(Stopped):
    """The log contradicts what was seen of it, or holds a fact in the keeper's name that its own
    rules forbid. Nothing new is taken in. ``scalewitness alarms`` shows the evidence."""


class NotAccepted(Stopped):
    """The record refused facts, or somebody else edited the same. They stay stored;
    ``problems``: why, by their ids, as problem details (RFC 9457)."""

    def __init__(self, problems: Mapping[str, Mapping[str, Any]]) -> None:
        self.problems = problems
        details = (f"{id}: {one.get('detail', one)}" for id, one in problems.items())
        super().__init__("\n".join(["Not accepted:", *details]))
