"""One of two accounts that a finding names as one person's objects."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.one_examiner import NamedShown, named_as_one
from scalewitness.domain.errors import NotFound, NotNow
from scalewitness.people.services import object_to_being_one


@operation(
    "Object to being named as one person with another",
    gives={200: NamedShown},
    refuses=(NotFound, NotNow),
)
def object_to_naming(request: Request, id: UUID) -> Response:
    """It is no fact: the log names neither account. The operator hears both and writes to them; an
    objection before both count as one keeps it from coming about meanwhile."""
    return Response(named_as_one(object_to_being_one(keeper_of(request).pk, id, timezone.now())))
