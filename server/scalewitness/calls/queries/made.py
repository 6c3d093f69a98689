"""Calls as they were made."""

from collections.abc import Collection
from datetime import date
from uuid import UUID

from django.db.models import Q

from scalewitness.calls.models import Call
from scalewitness.domain.observations import Method
from scalewitness.people.queries import practitioners_at


def call_of(call: UUID) -> Call | None:
    return Call.objects.select_related("animal__collection").filter(pk=call).first()


def calls_on_visit(visit: UUID, by: UUID) -> list[Call]:
    """The calls someone sent on a visit, in log order."""
    return list(Call.objects.filter(visit=visit, by=by).order_by("position"))


def days_of(animal: UUID, method: Method) -> list[date]:
    """On which days calls by that method were made of it, the withdrawn left out."""
    rows = Call.objects.filter(animal=animal, method=method, withdrawal=None)
    return [at.date() for at in rows.values_list("examined_at", flat=True)]


def called_on(person: UUID, animals: Collection[UUID]) -> set[UUID]:
    """On which of them they have a call, be it by another's report."""
    if not animals:
        return set()
    own = Q(by=person) | Q(examiner__in=practitioners_at(person))
    return set(Call.objects.filter(own, animal__in=animals).values_list("animal", flat=True))
