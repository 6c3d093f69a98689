"""What was noted of pairings in their season."""

from collections.abc import Collection
from datetime import date
from uuid import UUID

from django.db.models import Q

from scalewitness.breeding.models import SeasonNote
from scalewitness.breeding.queries.pedigrees import PedigreeSeen
from scalewitness.domain.season.events import Event


def note_of(note: UUID) -> SeasonNote | None:
    return SeasonNote.objects.select_related("end").filter(pk=note).first()


def last_young(found: PedigreeSeen, dams: Collection[UUID]) -> dict[UUID, date]:
    """When each last had young, or laid, or gave birth, as far as the reader is told: by the young
    that they may see and name her, and by what is noted of her pairings."""
    held = found.reader.holds
    known = Q(pairing__dam__collection__in=held) | Q(pairing__sire__collection__in=held)
    rows = SeasonNote.objects.filter(
        known, pairing__dam__in=dams, what__in=("laid", "born"), end=None
    )
    days = list(rows.values_list("pairing__dam", "on"))
    days += (
        (one.dam, one.animal.hatched)
        for one in found.relatives.values()
        if one.dam and one.dam in dams and one.animal and one.animal.hatched
    )
    return dict(sorted(days, key=lambda each: each[1]))


def has_noted(pairing: UUID, by: UUID, what: Event, on: date) -> bool:
    """Whether they noted that of that day, and stand by it."""
    rows = SeasonNote.objects.filter(pairing=pairing, by=by, what=what, on=on, end=None)
    return rows.exists()
