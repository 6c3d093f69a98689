"""Seasons as they are kept: wants and limits, and which years a collection plans."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from uuid import UUID

import msgspec
from django.db.models import Q

from scalewitness.breeding.models import AffectedPlan, Pairing
from scalewitness.breeding.queries.pairings import AHEAD
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


def years_of(collection: UUID, since: int) -> list[int]:
    """Since that one, of which anything is planned or wanted, earliest first."""
    here = Q(sire__collection=collection) | Q(dam__collection=collection)
    planned = Pairing.objects.filter(here, season__gte=since, **AHEAD)
    kept = Season.objects.filter(collection=collection, year__gte=since)
    years = planned.order_by().values_list("season", flat=True).distinct()
    return sorted({*years, *kept.values_list("year", flat=True)})


def affected_since(collection: UUID, year: int, position: int) -> Sequence[AffectedPlan]:
    """What befell the plan at ``position`` of the log or later, in log order."""
    rows = AffectedPlan.objects.filter(collection=collection, season=year, position__gte=position)
    return list(rows.order_by("position"))
