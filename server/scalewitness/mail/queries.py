"""Reading letters and their delivery state."""

from collections.abc import Iterable
from uuid import UUID

from scalewitness.mail.models import Letter


def letters_for(causes: Iterable[UUID]) -> dict[UUID, list[Letter]]:
    """Letters by the fact that caused them, oldest first."""
    found: dict[UUID, list[Letter]] = {}
    for letter in Letter.objects.filter(cause__in=list(causes)).order_by("created_at", "pk"):
        found.setdefault(letter.cause, []).append(letter)
    return found
