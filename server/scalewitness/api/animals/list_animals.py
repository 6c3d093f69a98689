"""All animals one may see, page by page."""

from base64 import urlsafe_b64decode, urlsafe_b64encode
from binascii import Error
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django.conf import settings
from django.urls import reverse
from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.parameters import Id, OneOf, Opaque, Text, Whole, bad_parameter
from scalewitness.api.shapes.animals import Animals, animals
from scalewitness.searching.animals import animals_wanted
from scalewitness.searching.wanted import CHOICES, Wanted

LIMIT = Whole("limit", "Animals in a page.", default=50, least=1, most=200)
CURSOR = Opaque("cursor", "Where the page before ended: its `next`.")
ENDED = OneOf(
    "ended",
    "Animals that died, are lost or were stolen: left out, alone, or with the others.",
    ("without", "only", "too"),
)
IDS = (
    Id("parent", "Only the young of this animal."),
    Id("collection", "Only animals of this collection."),
)
TEXTS = (
    Text("text", "Looked for in names, codes, species, traits, places and parents."),
    Text("species", "Only this species, by its key."),
    Text("place", "Only where the place holds this."),
    Text("trait", "Only where a trait holds this."),
)
FILTERS = (
    OneOf("standing", "By the first word of the label.", ("any", *CHOICES["standing"])),
    OneOf("sex", "By the sex that the label names.", ("any", *CHOICES["sex"])),
    OneOf("age", "By the years since it hatched.", ("any", *CHOICES["age"])),
    OneOf("checked", "By when it was last examined.", ("any", *CHOICES["checked"])),
    OneOf("planned", "In a sale under way, or in a planned pairing.", ("any", *CHOICES["planned"])),
    OneOf("whose", "Of one's own collections, or of others'.", ("any", *CHOICES["whose"])),
)


@operation(
    "List the animals I may see",
    gives={200: Animals},
    query=(LIMIT, CURSOR, ENDED, *IDS, *TEXTS, *FILTERS),
)
def list_animals(request: Request) -> Response:
    """Ordered by id, which follows nothing about an animal. The `Link` header leads on. An animal
    to be checked blind is found by its codes, species and age alone."""
    limit, after = LIMIT.read(request), _after(request)
    keeper, now = keeper_of(request).pk, timezone.now()
    rows = animals_wanted(keeper, _wanted(request), now).order_by("pk")
    ended = ENDED.read(request)
    if ended != "too":
        rows = rows.filter(ended="") if ended == "without" else rows.exclude(ended="")
    if after is not None:
        rows = rows.filter(pk__gt=after)
    limit = limit or LIMIT.most
    page = list(rows[: limit + 1])
    cursor = _cursor(page[limit - 1].pk) if len(page) > limit else None
    shown = animals([(row, row.sight) for row in page[:limit]], keeper, now)
    return Response(Animals(shown, cursor), headers=_link(request, cursor))


def _wanted(request: Request) -> Wanted:
    asked: dict[str, Any] = {one.name: one.read(request) for one in (*IDS, *TEXTS, *FILTERS)}
    given: dict[str, Any] = {name: "" if one == "any" else one for name, one in asked.items()}
    return Wanted(**given)


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
