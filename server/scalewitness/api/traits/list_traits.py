"""Everything stated of an animal's traits."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.paging import CURSOR, LIMIT, PagePart
from scalewitness.api.shapes.traits import Traits, traits
from scalewitness.calls.queries.visibility import animal_open
from scalewitness.traits.queries import as_statements, stated_of


@operation("List what is stated of an animal's traits", gives={200: Traits}, query=(LIMIT, CURSOR))
def list_traits(request: Request, id: UUID) -> Response:
    """The newest first, withdrawn ones included, each with who says so. Those of several people
    may contradict each other."""
    animal = animal_open(keeper_of(request).pk, id, timezone.now())
    part = PagePart(request, stated_of(animal.pk))
    return Response(traits(as_statements(part.items), part.next), headers=part.headers)
