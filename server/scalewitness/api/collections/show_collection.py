"""One collection."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.collections.access import own_collection
from scalewitness.api.operations import operation
from scalewitness.api.reading import etag
from scalewitness.api.shapes.animals import CollectionShown, collection


@operation("Show a collection", gives={200: CollectionShown})
def show_collection(request: Request, id: UUID) -> Response:
    found = own_collection(request, id)
    return Response(collection(found, keeper_of(request).pk), headers=etag(found.version))
