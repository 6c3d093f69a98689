"""Who may see what of whose."""

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.animals.queries import collections_by_id, collections_of
from scalewitness.animals.queries.grants import waits_of
from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.people import Grants, GrantShown, grant
from scalewitness.people.models import Grant
from scalewitness.people.queries import grants_given, grants_held


@operation("List grants given by me and to me", gives={200: Grants})
def list_grants(request: Request) -> Response:
    """Past ones too. A guest's access to animals is their visit, and is not listed here."""
    keeper = keeper_of(request).pk
    given = grants_given(one.pk for one in collections_of(keeper))
    return Response(Grants(_shown(given, given=True) + _shown(grants_held(keeper), given=False)))


def _shown(rows: list[Grant], *, given: bool) -> list[GrantShown]:
    now, named = timezone.now(), collections_by_id(row.collection for row in rows)
    waits = waits_of(rows, now)
    return [
        grant(row, named[row.collection], waits.get(row.pk), given=given, now=now) for row in rows
    ]
