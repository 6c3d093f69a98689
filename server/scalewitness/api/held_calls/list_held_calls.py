"""Calls that came long after their visit and wait for the host."""

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.animals.queries import stewarded_collections
from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.calls import held, own_held
from scalewitness.api.shapes.late import HeldCalls, held_note
from scalewitness.calls.queries.held import (
    held_calls,
    lone_notes_in,
    own_held_calls,
    own_held_notes,
)
from scalewitness.people.queries import names_of


@operation("List calls held for my decision", gives={200: HeldCalls})
def list_held_calls(request: Request) -> Response:
    """What a held call says stays hidden until it is admitted, but to whoever sent it."""
    keeper, now = keeper_of(request).pk, timezone.now()
    mine = [one.pk for one in stewarded_collections(keeper, now)]
    rows, alone, own = held_calls(mine), lone_notes_in(mine, now), own_held_notes(keeper)
    names = names_of({row.by for row in (*rows, *alone, *own)})
    return Response(
        HeldCalls(
            items=[held(row, names) for row in rows],
            own=list(map(own_held, own_held_calls(keeper))),
            notes=[held_note(row, names) for row in alone],
            own_notes=[held_note(row, names) for row in own],
        )
    )
