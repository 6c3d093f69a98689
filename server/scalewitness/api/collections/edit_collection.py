"""Another name for a collection."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.animals.services import edit
from scalewitness.api.authentication import keeper_of
from scalewitness.api.collections.access import own_collection
from scalewitness.api.operations import operation
from scalewitness.api.reading import (
    Name,
    Sent,
    already_so,
    body_of,
    etag,
    line,
    version_wanted,
)
from scalewitness.api.shapes.animals import CollectionShown, collection
from scalewitness.domain.errors import OutOfRange


class CollectionEdit(Sent, frozen=True, kw_only=True):
    """The name is all there is to edit."""

    name: Name


@operation(
    "Rename a collection",
    takes=CollectionEdit,
    gives={200: CollectionShown},
    refuses=(OutOfRange,),
    edits=True,
)
def edit_collection(request: Request, id: UUID) -> Response:
    name = line(body_of(request, CollectionEdit).name, "/name")
    found, keeper = own_collection(request, id), keeper_of(request)
    if not already_so(request, found.version, found.name == name):
        version = version_wanted(request, found.version)
        found = edit(found, {"name": name}, version=version, by=keeper, now=timezone.now())
    return Response(collection(found, keeper.pk), headers=etag(found.version))
