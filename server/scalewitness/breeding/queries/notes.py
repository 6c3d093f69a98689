"""What was noted of pairings in their season."""

from datetime import date
from uuid import UUID

from django.db.models import Q

from scalewitness.breeding.models import SeasonNote
from scalewitness.calls.queries.visibility import Reader
from scalewitness.domain.season.events import Event


def note_of(note: UUID) -> SeasonNote | None:
    return SeasonNote.objects.select_related("end").filter(pk=note).first()


def last_brood(dam: UUID, reader: Reader) -> date | None:
    """When she last laid, or gave birth, as far as the reader is told of her pairings."""
    held = reader.holds
    known = Q(pairing__dam__collection__in=held) | Q(pairing__sire__collection__in=held)
    rows = SeasonNote.objects.filter(known, pairing__dam=dam, what__in=("laid", "born"), end=None)
    return rows.order_by("-on").values_list("on", flat=True).first()


def has_noted(pairing: UUID, by: UUID, what: Event, on: date) -> bool:
    """Whether they noted that of that day, and stand by it."""
    rows = SeasonNote.objects.filter(pairing=pairing, by=by, what=what, on=on, end=None)
    return rows.exists()
