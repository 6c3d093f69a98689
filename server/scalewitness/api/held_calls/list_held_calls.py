"""Calls that came long after their visit and wait for the host."""

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.animals.queries import stewarded_collections
from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.calls import HeldCalls, held, own_held
from scalewitness.calls.queries.held import held_calls, own_held_calls
from scalewitness.people.queries import names_of


@operation("List calls held for my decision", gives={200: HeldCalls})
def list_held_calls(request: Request) -> Response:
    """What a held call says stays hidden until it is admitted, but to whoever sent it."""
    keeper = keeper_of(request).pk
    mine = stewarded_collections(keeper, timezone.now())
    rows = held_calls(one.pk for one in mine)
    names = names_of({row.by for row in rows})
    return Response(
        HeldCalls([held(row, names) for row in rows], list(map(own_held, own_held_calls(keeper))))
    )
