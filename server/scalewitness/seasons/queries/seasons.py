"""Seasons as they are kept: wants and limits, and which years a collection plans."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

import msgspec
from django.db.models import Q

from scalewitness.breeding.models import AffectedPlan, Pairing
from scalewitness.breeding.queries.pairings import pairings_seen
from scalewitness.domain.season.stated import LimitsStated, WantStated
from scalewitness.seasons.models import Season


@dataclass(frozen=True, slots=True)
class SeasonSettings:
    """``version`` 0: nobody edited it yet. ``kept``: pairings that every proposal keeps."""

    version: int = 0
    wants: tuple[WantStated, ...] = ()
    limits: LimitsStated = field(default_factory=LimitsStated)
    kept: tuple[UUID, ...] = ()


def settings_of(collection: UUID, year: int) -> SeasonSettings:
    found = Season.objects.filter(collection=collection, year=year).first()
    if found is None:
        return SeasonSettings()
    return SeasonSettings(
        found.version,
        msgspec.convert(found.wants, tuple[WantStated, ...]),
        msgspec.convert(found.limits, LimitsStated),
        msgspec.convert(found.kept, tuple[UUID, ...], strict=False),
    )


def years_of(collection: UUID, since: int, reader: UUID, now: datetime) -> list[int]:
    """Since that one, of which anything is wanted, or planned that the reader is told of, earliest
    first."""
    kept = Season.objects.filter(collection=collection, year__gte=since)
    planned = {one.season for one in pairings_at(collection, reader, now) if one.season >= since}
    return sorted({*planned, *kept.values_list("year", flat=True)})


def pairings_at(collection: UUID, reader: UUID, now: datetime) -> list[Pairing]:
    """Of an animal there, for whoever holds it or is a partner in it, as far as they are told."""
    found = {one.pairing.pk: one.pairing for one in pairings_seen(reader, now)}
    here = Q(sire__collection=collection) | Q(dam__collection=collection)
    return [
        found[pk] for pk in Pairing.objects.filter(here, pk__in=found).values_list("pk", flat=True)
    ]


def affected_since(collection: UUID, year: int, position: int) -> Sequence[AffectedPlan]:
    """What befell the plan at ``position`` of the log or later, in log order."""
    rows = AffectedPlan.objects.filter(collection=collection, season=year, position__gte=position)
    return list(rows.order_by("position"))
