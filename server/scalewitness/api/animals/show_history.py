"""All that was stated of an animal and edited on it."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.animals.queries import edits_of
from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.history import History, history
from scalewitness.calls.queries.visibility import animal_open
from scalewitness.ledger.queries.entries import entries_about
from scalewitness.people.queries import names_of
from scalewitness.receipts.queries import withheld


@operation("Show an animal's history", gives={200: History})
def show_history(request: Request, id: UUID) -> Response:
    """Edits made while in its present collection, and every fact about it in log order."""
    keeper, now = keeper_of(request).pk, timezone.now()
    animal = animal_open(keeper, id, now)
    edits, entries = edits_of(animal), entries_about(animal.pk)
    shut = withheld(keeper, animal, entries, now)
    people = {edit.by for edit in edits} | {entry.by for entry in entries}
    return Response(history(edits, entries, names_of(who for who in people if who), shut))
