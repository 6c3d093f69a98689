"""A new collection."""

from uuid import UUID

from django.urls import reverse
from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.animals import services
from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.reading import Name, Sent, body_of, etag, line
from scalewitness.api.shapes.animals import CollectionShown, collection
from scalewitness.domain.errors import IdReused, OutOfRange
from scalewitness.domain.facts import Id


class NewCollection(Sent, frozen=True, kw_only=True):
    """``id`` is the client's own."""

    id: Id
    name: Name


@operation(
    "Make a collection",
    takes=NewCollection,
    gives={201: CollectionShown},
    refuses=(OutOfRange, IdReused),
)
def create_collection(request: Request) -> Response:
    """Sending the same again changes nothing."""
    sent, keeper = body_of(request, NewCollection), keeper_of(request)
    made = services.create_collection(
        keeper, UUID(sent.id), line(sent.name, "/name"), timezone.now()
    )
    headers = {"Location": reverse("api:collection", args=[made.pk]), **etag(made.version)}
    return Response(collection(made, keeper.pk), 201, headers=headers)
