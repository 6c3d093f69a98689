"""One animal."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.reading import etag
from scalewitness.api.shapes.animals import AnimalBlind, AnimalShown, animals
from scalewitness.calls.queries.visibility import animal_seen


@operation("Show an animal", gives={200: AnimalShown | AnimalBlind})
def show_animal(request: Request, id: UUID) -> Response:
    """A blind guest sees what identifies the animal and what matters for its welfare, and
    no ETag. The ETag names the version of what PATCH edits."""
    keeper, now = keeper_of(request).pk, timezone.now()
    animal, sight = animal_seen(keeper, id, now)
    headers = etag(animal.version) if sight == "all" else {}
    return Response(animals([(animal, sight)], keeper, now)[0], headers=headers)
