"""Reading letters and their delivery state."""

from collections.abc import Iterable
from uuid import UUID

from django.db.models import Count

from scalewitness.mail.models import UNDELIVERED, Letter


def letters_for(causes: Iterable[UUID]) -> dict[UUID, list[Letter]]:
    """Letters by what caused them (a fact, a disclosure), oldest first."""
    found: dict[UUID, list[Letter]] = {}
    for letter in Letter.objects.filter(cause__in=list(causes)).order_by("created_at", "pk"):
        found.setdefault(letter.cause, []).append(letter)
    return found


def came_back_from(person: UUID, address: str) -> bool:
    """Whether a letter to the person at that address reached nobody."""
    theirs = Letter.objects.filter(recipient=person, to=address)
    return theirs.filter(state__in=UNDELIVERED).exists()


def letters_by_state() -> dict[str, int]:
    """How many letters are in each state, states without any included."""
    counted = Letter.objects.order_by().values_list("state").annotate(Count("pk"))
    return dict.fromkeys(Letter.State.values, 0) | dict(counted)
