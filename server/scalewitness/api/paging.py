"""Long lists part by part, for those that only ever grow at their beginning."""

from base64 import urlsafe_b64decode, urlsafe_b64encode
from binascii import Error
from collections.abc import Sequence
from typing import Generic, TypeVar
from urllib.parse import urlencode

from django.conf import settings
from django.db.models import QuerySet
from rest_framework.request import Request

from scalewitness.api.parameters import Opaque, Whole, bad_parameter

T = TypeVar("T")

LIMIT = Whole("limit", "How many at a time.", default=25, least=1, most=200)
CURSOR = Opaque("cursor", "Where the part before ended: its `next`.")


class PagePart(Generic[T]):
    """The part of ``rows`` that is asked for: ``items``, and the cursor to the ``next``, None
    at the end. What is new comes first, so what came in between is met twice, never missed."""

    def __init__(self, request: Request, rows: "QuerySet[T] | Sequence[T]") -> None:  # type: ignore[type-var]
        limit, start = LIMIT.read(request) or LIMIT.most, _start(request)
        found = list(rows[start : start + limit + 1])
        self._request = request
        self.items: list[T] = found[:limit]
        self.next = _cursor(start + limit) if len(found) > limit else None

    @property
    def headers(self) -> dict[str, str]:
        """The next part's address (RFC 8288)."""
        if self.next is None:
            return {}
        query = urlencode({**self._request.query_params.dict(), "cursor": self.next})
        return {"Link": f'<{settings.PUBLIC_URL}{self._request.path}?{query}>; rel="next"'}


def _cursor(start: int) -> str:
    return urlsafe_b64encode(b"%d" % start).decode().rstrip("=")


def _start(request: Request) -> int:
    given = CURSOR.read(request)
    try:
        found = int(urlsafe_b64decode(f"{given}==")) if given else 0
    except (ValueError, Error):
        found = -1
    if not 0 <= found < 1_000_000_000:
        raise bad_parameter(CURSOR.name, "This cursor is not one of this server's.")
    return found
