"""Animals as rows of a table: what each is, what its record says, and what is planned with it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db.models import Max
from django.utils.safestring import SafeString

from scalewitness.animals.models import ON_SHEET, Animal
from scalewitness.animals.queries import conditions_of
from scalewitness.breeding.queries.pairings import PairingSeen, pairings_seen
from scalewitness.calls.models import OF_IT, Call
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.pages.breeding.paired import title_seen
from scalewitness.pages.plots.sign import UNSEXED, Drawn, sign
from scalewitness.people.models import Keeper
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import AWAITED, progress_of, sales_seen
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.assessing import yardstick
from scalewitness.standings.queries.logged import label_of, latest_standings

SALES = {
    "draft": "sale to {} drafted",
    "offered": "offered to {}",
    "confirmed": "{} confirmed, not paid",
    "paid": "paid by {}",
}
"""What a list says of a sale under way, where it says more than whom it is to."""


@dataclass(frozen=True, slots=True)
class AnimalRow:
    """An animal in a list. Of one to be checked blind: what stands on the sheet, and no more."""

    animal: Animal
    sight: str
    title: str
    codes: str
    species: str
    label: str
    sign: SafeString
    age: str
    grams: Decimal | None
    checked_at: datetime | None
    place: str
    planned: str


def rows_of(animals: Iterable[Animal], keeper: Keeper, now: datetime) -> list[AnimalRow]:
    """In the order given; each with its ``sight``, and its identifiers read with it."""
    listed = list(animals)
    whole = [one.pk for one in listed if _sight(one) == "all"]
    known = _Known(
        standings=latest_standings(whole),
        checked=_last_checks(whole),
        planned=_planned(whole, keeper, now),
        grams={pk: one.grams for pk, one in conditions_of([one.pk for one in listed]).items()},
        verified=yardstick().policy.verified,
        today=now.date(),
    )
    return [_row(one, known) for one in listed]


@dataclass(frozen=True, slots=True)
class _Known:
    """What is read for all rows at once; by animal, and of those alone that are seen whole but
    for the weight."""

    standings: Mapping[UUID, Standing]
    checked: Mapping[UUID, datetime]
    planned: Mapping[UUID, Sequence[str]]
    grams: Mapping[UUID, Decimal | None]
    verified: float
    today: date


def _row(animal: Animal, known: _Known) -> AnimalRow:
    blind = _sight(animal) == "blind"
    codes = [one.code for one in animal.identifiers.all() if not blind or one.scheme in ON_SHEET]
    titled = animal.name if not blind else ""
    standing = known.standings.get(animal.pk)
    return AnimalRow(
        animal=animal,
        sight=_sight(animal),
        title=titled or next(iter(codes), "No code" if blind else "No name, no code"),
        codes=", ".join(codes if titled else codes[1:]),
        species=taxon(animal.species).common,
        label="" if blind else label_of(standing),
        sign=SafeString("") if blind else sign(_drawn(standing), known.verified, alone=False),
        age=age_of(animal.hatched, known.today),
        grams=known.grams.get(animal.pk),
        checked_at=known.checked.get(animal.pk),
        place="" if blind else animal.rack,
        planned="; ".join(known.planned.get(animal.pk, ())),
    )


def _sight(animal: Animal) -> str:
    return str(getattr(animal, "sight", "blind"))


def _drawn(standing: Standing | None) -> Drawn:
    if standing is None:
        return UNSEXED
    plain, strictly = float(standing.p_male), float(standing.p_male_pessimistic)
    return Drawn(standing.label, plain, strictly)


def age_of(hatched: date | None, today: date) -> str:
    """``4 y``, ``7 mo``, ``12 d``; empty where the day is not known."""
    if hatched is None or hatched > today:
        return ""
    months = (today.year - hatched.year) * 12 + today.month - hatched.month
    months -= today.day < hatched.day
    if months >= 24:
        return f"{months // 12} y"
    return f"{months} mo" if months else f"{(today - hatched).days} d"


def _last_checks(animals: Iterable[UUID]) -> dict[UUID, datetime]:
    """When each was last examined, by a call that was not taken back or filed wrongly."""
    calls = Call.objects.filter(OF_IT, animal__in=list(animals))
    return dict(calls.order_by().values_list("animal").annotate(last=Max("examined_at")))


def _planned(animals: Sequence[UUID], keeper: Keeper, now: datetime) -> dict[UUID, list[str]]:
    """Sales under way and pairings planned, as far as the keeper has a part in them."""
    found: dict[UUID, list[str]] = {}
    sales = sales_seen(keeper.pk, now).filter(animals__in=animals).distinct()
    for sale, words in _sales(sales):
        for animal in sale.animals.all():
            found.setdefault(animal.pk, []).append(words)
    for pair in pairings_seen(keeper.pk, now, among=animals):
        for animal_id, mate in _mates(pair):
            words = f"{pair.pairing.season} with {title_seen(mate)}"
            found.setdefault(animal_id, []).append(words)
    return found


def _sales(sales: Iterable[Sale]) -> Iterable[tuple[Sale, str]]:
    for sale in sales:
        state = progress_of(sale).state
        if state in AWAITED:
            yield sale, SALES.get(state, "sale to {}").format(sale.buyer.name)


def _mates(pair: PairingSeen) -> Iterable[tuple[Any, Animal | None]]:
    return (pair.pairing.sire_id, pair.dam), (pair.pairing.dam_id, pair.sire)
