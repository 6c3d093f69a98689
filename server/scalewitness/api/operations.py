"""One operation, one module: what it does, takes, gives and refuses, said once.

The same words run the operation and make its entry in the OpenAPI document.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from rest_framework.response import Response

from scalewitness.api.parameters import RequestParameter
from scalewitness.domain.errors import Refused

Run = Callable[..., Response]
JSON: Final = "application/json"


@dataclass(frozen=True, slots=True, kw_only=True)
class Operation:
    """``takes`` and the values of ``gives`` (by status) are types that msgspec can turn
    into JSON Schema; None means no body. ``throttle`` names a rate in the settings."""

    run: Run
    summary: str
    gives: Mapping[int, Any]
    takes: Any = None
    mentions: tuple[Any, ...] = ()
    """Types that ``takes`` refers to by name only: msgspec has no union of them."""
    refuses: tuple[type[Refused], ...] = ()
    query: tuple[RequestParameter, ...] = ()
    anonymous: bool = False
    throttle: str | None = None
    edits: bool = False
    """Edits a record under its version: wants If-Match, answers with an ETag."""
    media: str = JSON
    """Of what it gives; anything but JSON is a file, handed on as it is."""
    keyed: bool = False
    """States a fact: known again by its id or, without one, by an Idempotency-Key."""
    takes_media: str = JSON
    """Of what it takes."""
    harmless: bool = False
    """Whatever its method, it may be done while the log is fenced."""
    grave: bool = False
    """A keeper with a second factor gives it once more with this."""
    takes_turn: bool = False
    """All it writes takes the log's lock, where a fence is looked for: not before as well."""

    def is_for_later(self, method: str) -> bool:
        """Whether the operation, under this method, waits while the log is fenced."""
        return method.upper() not in {"GET", "HEAD"} and not self.harmless

    @property
    def name(self) -> str:
        return self.run.__name__

    @property
    def noun(self) -> str:
        """The folder, or else the module, below ``api`` in which the operation lives."""
        return self.run.__module__.removeprefix("scalewitness.api.").split(".")[0]

    @property
    def description(self) -> str:
        return " ".join((self.run.__doc__ or "").split())


def operation(summary: str, **more: Any) -> Callable[[Run], Operation]:
    """Make a function ``(request, **path) -> Response`` an operation."""

    def described(run: Run) -> Operation:
        return Operation(run=run, summary=summary, **more)

    return described
