"""All animals one may see, page by page."""

from base64 import urlsafe_b64decode, urlsafe_b64encode
from binascii import Error
from urllib.parse import urlencode
from uuid import UUID

from django.conf import settings
from django.urls import reverse
from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.parameters import Id, OneOf, Opaque, Whole, bad_parameter
from scalewitness.api.shapes.animals import Animals, animals
from scalewitness.calls.queries.visibility import visible_animals

LIMIT = Whole("limit", "Animals in a page.", default=50, least=1, most=200)
CURSOR = Opaque("cursor", "Where the page before ended: its `next`.")
COLLECTION = Id("collection", "Only animals of this collection.")
ENDED = OneOf(
    "ended",
    "Animals that died, are lost or were stolen: left out, alone, or with the others.",
    ("without", "only", "too"),
)


@operation(
    "List the animals I may see", gives={200: Animals}, query=(LIMIT, CURSOR, COLLECTION, ENDED)
)
def list_animals(request: Request) -> Response:
    """Ordered by id, which follows nothing about an animal. The `Link` header leads on."""
    limit, after, collection = LIMIT.read(request), _after(request), COLLECTION.read(request)
    keeper, now = keeper_of(request).pk, timezone.now()
    rows = visible_animals(keeper, now)
    ended = ENDED.read(request)
    if ended != "too":
        rows = rows.filter(ended="") if ended == "without" else rows.exclude(ended="")
    if collection is not None:
        # A blind guest is told no collection, so none may be found out by asking.
        rows = rows.filter(collection=collection, sight="all")
    if after is not None:
        rows = rows.filter(pk__gt=after)
    limit = limit or LIMIT.most
    page = list(rows[: limit + 1])
    cursor = _cursor(page[limit - 1].pk) if len(page) > limit else None
    shown = animals([(row, row.sight) for row in page[:limit]], keeper, now)
    return Response(Animals(shown, cursor), headers=_link(request, cursor))


def _cursor(last: UUID) -> str:
    return urlsafe_b64encode(last.bytes).decode().rstrip("=")


def _after(request: Request) -> UUID | None:
    given = CURSOR.read(request)
    if given is None:
        return None
    try:
        return UUID(bytes=urlsafe_b64decode(f"{given}=="))
    except (ValueError, Error):
        raise bad_parameter(CURSOR.name, "This cursor is not one of this server's.") from None


def _link(request: Request, cursor: str | None) -> dict[str, str]:
    """The next page's address (RFC 8288)."""
    if cursor is None:
        return {}
    query = urlencode({**request.query_params.dict(), "cursor": cursor})
    return {"Link": f'<{settings.PUBLIC_URL}{reverse("api:animals")}?{query}>; rel="next"'}
