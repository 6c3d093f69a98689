"""What was computed of seasons, and whether facts have come since that bear on it."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final
from uuid import UUID

import msgspec
from django.db.models import Exists, F, Min, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from scalewitness.animals.models import Animal
from scalewitness.breeding.models import Pairing
from scalewitness.domain.season.outlook import FORMAT, OutlookBody
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.tree import tip
from scalewitness.people.models import Grant
from scalewitness.seasons.models import Season, SeasonOutlook

YEARS_AHEAD: Final = 3
"""Seasons further off are planned, and not worked out (our judgement): who could breed by then is
not hatched yet, and the worker's time is everybody's."""
AGES: Final = timedelta(days=1)
"""Animals grow, rest and come of age without any fact (our judgement)."""


@dataclass(frozen=True, slots=True)
class BearsOn:
    """What entries from some position on bear on: ``things`` by id, and whoever was given access
    to more."""

    things: frozenset[UUID]
    readers: frozenset[UUID]

    def on(self, basis: Iterable[UUID], reader: UUID) -> bool:
        return reader in self.readers or not self.things.isdisjoint(basis)


def bearing_since(position: int) -> BearsOn:
    """Besides what entries are about: of new pairings both animals, and of animals registered,
    moved or corrected since their home and parents."""
    entries = Entry.objects.filter(position__gte=position)
    things = {one for one in entries.values_list("about", flat=True).distinct() if one}
    paired = Pairing.objects.filter(position__gte=position).values_list("sire", "dam")
    kin = Animal.objects.filter(
        pk__in=entries.filter(kind__in=_OF_KIN).values("about")
    ).values_list("collection", "sire", "dam")
    things |= {one for row in (*paired, *kin) for one in row if one}
    given = Grant.objects.filter(position__gte=position).values_list("to", flat=True)
    return BearsOn(frozenset(things), frozenset(given))


_OF_KIN = ("animal_registered", "particulars_corrected", "custody_changed")


def outlook_of(collection: UUID, year: int, reader: UUID) -> SeasonOutlook | None:
    return SeasonOutlook.objects.filter(collection=collection, year=year, reader=reader).first()


def stored(outlook: SeasonOutlook) -> OutlookBody | None:
    """What was computed; None before it first was, or where an earlier release kept it
    otherwise."""
    if outlook.body.get("format") != FORMAT:
        return None
    return msgspec.convert(outlook.body, OutlookBody)


def is_behind(outlook: SeasonOutlook, now: datetime) -> bool:
    """Whether something that bears on it came since, or was never looked at."""
    if not outlook.digest or _is_old(outlook, now) or outlook.settings != _settings(outlook):
        return True
    if SeasonOutlook.objects.filter(_by_the_clock(now), pk=outlook.pk).exists():
        return True
    if outlook.position >= tip().size:
        return False
    return bearing_since(outlook.position).on(outlook.basis, outlook.reader_id)


def _settings(outlook: SeasonOutlook) -> int:
    found = Season.objects.filter(collection=outlook.collection_id, year=outlook.year)
    return found.values_list("version", flat=True).first() or 0


def _by_the_clock(now: datetime) -> Q:
    """Whose reader was let in, or is no more, since it was computed: at a time that was said
    before, without any fact."""
    given = Grant.objects.filter(to=OuterRef("reader"))
    since = OuterRef("computed_at")
    opened = Q(opens__gt=since, opens__lte=now)
    closed = Q(closes__gt=since, closes__lte=now)
    return Q(Exists(given.filter(opened | closed)))


def _is_old(outlook: SeasonOutlook, now: datetime) -> bool:
    return outlook.computed_at is None or outlook.computed_at < now - AGES


def years_ahead(now: datetime) -> range:
    """Of the seasons that are worked out: those that are neither over nor far off."""
    return range(now.year, now.year + YEARS_AHEAD + 1)


def ahead(now: datetime) -> QuerySet[SeasonOutlook]:
    """Of the seasons that are worked out."""
    return SeasonOutlook.objects.filter(year__in=years_ahead(now))


def due(now: datetime) -> tuple[QuerySet[SeasonOutlook], int]:
    """Those to be looked at again, longest waiting first, whoever is at them, and the size of the
    log as of which nothing bears on the others."""
    size = tip().size
    found = ahead(now)
    behind = found.filter(position__lt=size).exclude(digest="")
    since = behind.aggregate(since=Min("position"))["since"]
    bearing = bearing_since(size if since is None else since)
    kept = Season.objects.filter(collection=OuterRef("collection"), year=OuterRef("year"))
    version = Coalesce(Subquery(kept.values("version")[:1]), 0)
    wanted = Q(digest="") | Q(computed_at__lt=now - AGES) | Q(asked_best__isnull=False)
    wanted |= _by_the_clock(now)
    wanted |= ~Q(settings=F("kept")) | Q(reader__in=bearing.readers, position__lt=size)
    wanted |= Q(basis__overlap=list(bearing.things), position__lt=size)
    rows = found.annotate(kept=version).filter(wanted)
    return rows.order_by(F("computed_at").asc(nulls_first=True), "pk"), size
