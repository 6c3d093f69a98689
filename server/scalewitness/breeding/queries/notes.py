"""What was noted of pairings in their season."""

from datetime import date
from uuid import UUID

from scalewitness.breeding.models import SeasonNote
from scalewitness.domain.season.events import Event


def note_of(note: UUID) -> SeasonNote | None:
    return SeasonNote.objects.select_related("end").filter(pk=note).first()


def has_noted(pairing: UUID, by: UUID, what: Event, on: date) -> bool:
    """Whether they noted that of that day, and stand by it."""
    rows = SeasonNote.objects.filter(pairing=pairing, by=by, what=what, on=on, end=None)
    return rows.exists()
