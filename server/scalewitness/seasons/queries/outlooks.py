"""What was computed of seasons, and whether facts have come since that bear on it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final
from uuid import UUID

import msgspec
from django.db.models import Exists, F, Max, Min, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from scalewitness.animals.models import Animal
from scalewitness.breeding.models import Pairing
from scalewitness.calls.queries.visibility import kept_from, reader_of
from scalewitness.domain.season.outlook import FORMAT, OutlookBody
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.tree import tip
from scalewitness.people.models import Grant
from scalewitness.sales.models import SaleStep
from scalewitness.seasons.models import Season, SeasonOutlook

YEARS_AHEAD: Final = 3
"""Seasons further off are planned, and not worked out (our judgement): who could breed by then is
not hatched yet, and the worker's time is everybody's."""
AGES: Final = timedelta(days=1)
"""Animals grow, rest and come of age without any fact (our judgement)."""


@dataclass(frozen=True, slots=True)
class BearsOn:
    """What entries from some position on bear on: ``things`` by id, and ``readers`` who were given
    access to more, or are offered it; with the position of the last such entry of each. ``pairs``:
    new pairings, each by its position and its two animals."""

    things: Mapping[UUID, int]
    readers: Mapping[UUID, int]
    pairs: Sequence[tuple[int, UUID, UUID]]
    now: datetime

    def on(self, basis: Iterable[UUID], reader: UUID, since: int) -> bool:
        """Whether any of them from ``since`` on bears on what has that basis. A pairing that the
        reader is told nothing of, being to check one of its two blind, does not."""
        if self.readers.get(reader, -1) >= since:
            return True
        known = set(basis)
        if any(self.things.get(one, -1) >= since for one in known):
            return True
        pairs = [{*pair} for at, *pair in self.pairs if at >= since and not known.isdisjoint(pair)]
        if not pairs:
            return False
        shut = kept_from(reader_of(reader, self.now))
        return any(pair.isdisjoint(shut) for pair in pairs)

    @property
    def near(self) -> set[UUID]:
        """All that they may bear on."""
        return {*self.things, *(one for _, *pair in self.pairs for one in pair)}


def bearing_since(position: int, now: datetime) -> BearsOn:
    """Besides what entries are about: of new pairings both animals, and of animals registered,
    moved or corrected since their home and parents; of steps of sales the animals, and the buyer,
    to whom they are offered, or are no more. That a plan is affected bears on nothing by itself:
    whoever may read it sees the animal, of which an entry just before it says why."""
    entries = Entry.objects.filter(position__gte=position, about__isnull=False)
    entries = entries.exclude(kind="plan_affected")
    things = _last(entries, "about")
    moved = _last(entries.filter(kind__in=_OF_KIN), "about")
    pairs = Pairing.objects.filter(position__gte=position).values_list("position", "sire", "dam")
    kin: Iterable[Any] = Animal.objects.filter(pk__in=moved).values_list(
        "pk", "collection", "sire", "dam"
    )
    beside = [(moved[animal], *others) for animal, *others in kin]
    readers = _last(Grant.objects.filter(position__gte=position), "to")
    steps = SaleStep.objects.filter(position__gte=position)
    sold = _last(steps.exclude(sale__animals=None), "sale__animals")
    buyers = _last(steps.exclude(sale__buyer__keeper=None), "sale__buyer__keeper")
    beside += [(at, animal) for animal, at in sold.items()]
    for at, one in ((at, one) for at, *others in beside for one in others if one):
        things[one] = max(at, things.get(one, at))
    for buyer, at in buyers.items():
        readers[buyer] = max(at, readers.get(buyer, at))
    return BearsOn(things, readers, list(pairs), now)


def _last(rows: QuerySet[Any], name: str) -> dict[UUID, int]:
    """The last position of those that name each."""
    return dict(rows.order_by().values_list(name).annotate(Max("position")))


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
    if SeasonOutlook.objects.filter(_without_a_fact(now), pk=outlook.pk).exists():
        return True
    if outlook.position >= tip().size:
        return False
    bearing = bearing_since(outlook.position, now)
    return bearing.on(outlook.basis, outlook.reader_id, outlook.position)


def _without_a_fact(now: datetime) -> Q:
    """Those to be looked at again, whatever the log has: never yet, not for long, edited since, or
    by the clock."""
    kept = Season.objects.filter(collection=OuterRef("collection"), year=OuterRef("year"))
    edited = ~Q(settings=Coalesce(Subquery(kept.values("version")[:1]), 0))
    return Q(digest="") | Q(computed_at__lt=now - AGES) | edited | _by_the_clock(now)


def _by_the_clock(now: datetime) -> Q:
    """Whose reader was let in, or is no more, since it was computed: at a time that was said
    before, without any fact."""
    given = Grant.objects.filter(to=OuterRef("reader"))
    since = OuterRef("computed_at")
    opened = Q(opens__gt=since, opens__lte=now)
    closed = Q(closes__gt=since, closes__lte=now)
    return Q(Exists(given.filter(opened | closed)))


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
    bearing = bearing_since(size if since is None else since, now)
    near = Q(reader__in=list(bearing.readers)) | Q(basis__overlap=list(bearing.near))
    touched = behind.filter(near).values_list("pk", "basis", "reader", "position")
    borne = [pk for pk, basis, reader, since in touched if bearing.on(basis, reader, since)]
    rows = found.filter(_without_a_fact(now) | Q(asked_best__isnull=False) | Q(pk__in=borne))
    return rows.order_by(F("computed_at").asc(nulls_first=True), "pk"), size
