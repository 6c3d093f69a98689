"""How closely two animals are related."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.parameters import Id
from scalewitness.api.shapes.breeding import KinshipShown, kinship_shown
from scalewitness.breeding.queries.prospects import kinship_of
from scalewitness.domain.errors import Malformed

WITH = Id("with", "The other animal.", required=True)


@operation(
    "Show the kinship of two animals",
    gives={200: KinshipShown},
    query=(WITH,),
    refuses=(Malformed,),
)
def show_kinship(request: Request, id: UUID) -> Response:
    """Of two animals that one sees whole, from their pedigrees as far as one may see them."""
    keeper, other = keeper_of(request).pk, WITH.need(request)
    return Response(kinship_shown(kinship_of(keeper, id, other, timezone.now())))
