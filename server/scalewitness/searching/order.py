"""Animals in an order, a page at a time: each page begins behind the last animal of the one before,
however many were added or left meanwhile."""

import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from binascii import Error
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from django.db.models import (
    Case,
    DateTimeField,
    F,
    FloatField,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    TextField,
    Value,
    When,
)
from django.db.models.fields.json import KT
from django.db.models.functions import Cast, Coalesce, Lower

from scalewitness.animals.models import ON_SHEET, Husbandry, Identifier
from scalewitness.calls.models import OF_IT, Call
from scalewitness.searching.wanted import Order, Wanted
from scalewitness.standings.queries.logged import in_force


class BadPlace(ValueError):
    """Where to go on is not a place that a page gave."""


@dataclass(frozen=True, slots=True)
class AnimalsFound:
    """``after``: where the next page begins; None where this is the last."""

    animals: list[Any]
    after: str | None


def page_of(
    found: QuerySet[Any], wanted: Wanted, size: int, after: str | None = None
) -> AnimalsFound:
    """Up to ``size`` of the animals, behind the place ``after`` of an earlier page.

    Raises:
        BadPlace: ``after`` is none of these.
    """
    rows = found.annotate(place=KEYS[wanted.order]())
    if after is not None:
        rows = rows.filter(_behind(*_read(after, wanted.order), backwards=wanted.backwards))
    sign = "-" if wanted.backwards else ""
    listed = list(rows.order_by(f"{sign}place", f"{sign}pk")[: size + 1])
    last = listed[size - 1] if len(listed) > size else None
    return AnimalsFound(listed[:size], _written(last.place, last.pk) if last else None)


def _behind(place: Any, pk: UUID, *, backwards: bool) -> Q:
    way = "lt" if backwards else "gt"
    return Q(**{f"place__{way}": place}) | Q(place=place, **{f"pk__{way}": pk})


def _written(place: Any, pk: UUID) -> str:
    value = place.isoformat() if isinstance(place, datetime) else place
    return urlsafe_b64encode(json.dumps([value, str(pk)]).encode()).decode().rstrip("=")


def _read(after: str, order: Order) -> tuple[Any, UUID]:
    try:
        value, pk = json.loads(urlsafe_b64decode(after + "=" * (-len(after) % 4)))
        return _TYPES[order](value), UUID(pk)
    except (ValueError, TypeError, AttributeError, Error) as wrong:
        raise BadPlace(after) from wrong


def _moment(value: Any) -> datetime:
    found = datetime.fromisoformat(value)
    if found.tzinfo is None:
        raise BadPlace(value)
    return found


def _text(value: Any) -> str:
    if not isinstance(value, str) or "\x00" in value:
        raise BadPlace(value)
    return value


def _number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise BadPlace(value)
    return float(value)


def _whole(shown: Any, unknown: Any, kind: Any) -> Case:
    """What is ``shown`` to those alone who see the animal whole; else, and where nothing is known,
    ``unknown``."""
    known = When(sight="all", then=Coalesce(shown, Value(unknown), output_field=kind))
    return Case(known, default=Value(unknown), output_field=kind)


def _by_name() -> Case:
    """Its name, else its first code, as lists show it."""
    codes = Identifier.objects.filter(animal=OuterRef("pk")).order_by("position")
    on_sheet = codes.filter(scheme__in=ON_SHEET).order_by("scheme", "position")
    code, tag = (Coalesce(Subquery(one.values("code")[:1]), Value("")) for one in (codes, on_sheet))
    return Case(
        When(sight="all", name="", then=Lower(code)),
        When(sight="all", then=Lower("name")),
        default=Lower(tag),
        output_field=TextField(),
    )


def _latest_weight() -> Subquery:
    notes = Husbandry.objects.filter(animal=OuterRef("pk"), type="weight").order_by("-at")
    return Subquery(notes.values(grams=Cast(KT("noted__grams"), FloatField()))[:1])


def _last_check() -> Subquery:
    calls = Call.objects.filter(OF_IT, animal=OuterRef("pk"))
    return Subquery(calls.order_by("-examined_at").values("examined_at")[:1])


LONG_AGO = datetime(1, 1, 2, tzinfo=UTC)

KEYS: Mapping[Order, Callable[[], Any]] = {
    "name": _by_name,
    "species": lambda: Cast(F("species"), TextField()),
    "age": lambda: Coalesce(
        Cast("hatched", DateTimeField()), Value(LONG_AGO), output_field=DateTimeField()
    ),
    "weight": lambda: Coalesce(_latest_weight(), Value(-1.0), output_field=FloatField()),
    "checked": lambda: _whole(_last_check(), LONG_AGO, DateTimeField()),
    "standing": lambda: _whole(Cast(in_force("p_male"), FloatField()), 0.5, FloatField()),
    "place": lambda: _whole(Lower("rack"), "", TextField()),
}
_TYPES: Mapping[Order, Callable[[Any], Any]] = {
    "name": _text,
    "species": _text,
    "age": _moment,
    "weight": _number,
    "checked": _moment,
    "standing": _number,
    "place": _text,
}
