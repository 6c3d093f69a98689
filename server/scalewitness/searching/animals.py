"""The animals that one may see and that are as wanted.

An animal that its reader is to check blind is found by what stands on their sheet (codes, species,
hatch date) and by nothing else: where more is asked it is never found, and it stands in an order
as one of which nothing is known. So no result, and no absence from one, tells of it what its bare
twin would not.
"""

from collections.abc import Callable, Mapping
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.db.models import Exists, OuterRef, Q, QuerySet, TextField
from django.db.models.functions import Cast

from scalewitness.animals.models import ON_SHEET, Animal, Identifier
from scalewitness.animals.queries import stewarded
from scalewitness.breeding.queries.pairings import pairings_seen
from scalewitness.calls.models import OF_IT, Call
from scalewitness.calls.queries.visibility import (
    WithSight,
    kept_from,
    reader_of,
    visible_animals,
)
from scalewitness.domain.parents import Role
from scalewitness.domain.sexing.taxa import species_list
from scalewitness.sales.queries import AWAITED, progress_of, sales_seen
from scalewitness.searching.wanted import Wanted
from scalewitness.standings.queries.logged import label_in_force

if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations

YEAR = timedelta(days=365)
Asked = tuple[UUID, Wanted, datetime]


def animals_wanted(
    keeper: UUID, wanted: Wanted, now: datetime
) -> "QuerySet[WithAnnotations[Animal, WithSight]]":
    """In no order; those that ended among them."""
    found = visible_animals(keeper, now).order_by()
    if wanted.is_beyond_the_sheet:
        found = found.filter(sight="all")
    if wanted.standing or wanted.sex:
        found = found.annotate(in_force=label_in_force())
    asked = (keeper, wanted, now)
    for name, narrow in FILTERS.items():
        if getattr(wanted, name):
            found = found.filter(narrow(asked))
    return found


def may_be(
    role: Role, found: "QuerySet[WithAnnotations[Animal, WithSight]]"
) -> "QuerySet[WithAnnotations[Animal, WithSight]]":
    """Those seen whole that may be a sire or dam: all but those verified to be of the other sex.
    None that one is to check blind is among them, whatever is true of it."""
    other = "verified female" if role == "sire" else "verified male"
    seen = found.filter(sight="all").annotate(in_force=label_in_force())
    return seen.exclude(in_force=other)


def with_text(keeper: UUID, text: str, now: datetime) -> Q:
    """Those found by it: by name, code, species, trait, place or parent, as far as the keeper sees
    them."""
    return _text((keeper, Wanted(text=text), now))


def _text(asked: Asked) -> Q:
    keeper, wanted, now = asked
    text = wanted.text
    codes = Identifier.objects.filter(animal=OuterRef("pk"), code__icontains=text)
    on_sheet = codes.filter(scheme__in=ON_SHEET)
    named = visible_animals(keeper, now).order_by().filter(sight="all", name__icontains=text)
    whole = (
        Q(name__icontains=text)
        | Q(rack__icontains=text)
        | Q(Exists(codes))
        | Q(Exists(_with_trait(text)))
        | _young_of(named, keeper, now)
    )
    return Q(species__in=_species_named(text)) | Q(Exists(on_sheet)) | (Q(sight="all") & whole)


def _species_named(text: str) -> list[str]:
    """Those of which the common or the scientific name holds the text."""
    wanted = text.casefold()
    return [
        one.key
        for one in species_list()
        if wanted in one.common.casefold() or wanted in one.scientific.casefold()
    ]


def _with_trait(text: str) -> QuerySet[Animal]:
    spelled = Animal.objects.filter(pk=OuterRef("pk")).annotate(spelled=Cast("traits", TextField()))
    return spelled.filter(spelled__icontains=text)


def _age(asked: Asked) -> Q:
    _, wanted, now = asked
    one, three = _years_before(now.date(), 1), _years_before(now.date(), 3)
    return {
        "under_1": Q(hatched__gt=one),
        "1_to_3": Q(hatched__lte=one, hatched__gt=three),
        "over_3": Q(hatched__lte=three),
        "unknown": Q(hatched=None),
    }[wanted.age]


def _years_before(day: date, years: int) -> date:
    try:
        return day.replace(year=day.year - years)
    except ValueError:  # 29 February
        return day.replace(year=day.year - years, day=28)


def _checked(asked: Asked) -> Q:
    _, wanted, now = asked
    calls = Call.objects.filter(OF_IT, animal=OuterRef("pk"))
    if wanted.checked == "never":
        return ~Q(Exists(calls))
    lately = Q(Exists(calls.filter(examined_at__gt=now - YEAR)))
    return lately if wanted.checked == "within_a_year" else ~lately


def _planned(asked: Asked) -> Q:
    keeper, wanted, now = asked
    if wanted.planned == "pairing":
        paired = pairings_seen(keeper, now)
        return Q(pk__in={one for seen in paired for one in _pair(seen.pairing)})
    awaited = [one for one in sales_seen(keeper, now) if progress_of(one).state in AWAITED]
    return Q(pk__in={animal.pk for one in awaited for animal in one.animals.all()})


def _pair(pairing: Any) -> tuple[UUID, UUID]:
    return pairing.sire_id, pairing.dam_id


def _whose(asked: Asked) -> Q:
    keeper, wanted, now = asked
    mine = Q(collection__in=stewarded(keeper, now))
    return mine if wanted.whose == "mine" else ~mine


def _parent(asked: Asked) -> Q:
    """The young of an animal that the asker sees whole: being one's parent tells a sex."""
    keeper, wanted, now = asked
    seen = visible_animals(keeper, now).order_by().filter(sight="all", pk__in=[wanted.parent])
    return _young_of(seen, keeper, now)


def _young_of(seen: QuerySet[Animal, Any], keeper: UUID, now: datetime) -> Q:
    """Of parents that the asker sees whole. Not the young in their own rooms of which they are told
    no parent, as they are to check the other one blind: see `visibility.parents_shown`."""
    parents, reader = seen.values("pk"), reader_of(keeper, now)
    shut = kept_from(reader)
    withheld = Q(sire__in=shut) | Q(dam__in=shut)
    return (Q(sire__in=parents) | Q(dam__in=parents)) & ~(Q(collection__in=reader.holds) & withheld)


FILTERS: Mapping[str, Callable[[Asked], Q]] = {
    "text": _text,
    "species": lambda asked: Q(species=asked[1].species),
    "standing": lambda asked: Q(in_force__startswith=asked[1].standing),
    "sex": lambda asked: Q(in_force__endswith=f" {asked[1].sex}"),
    "age": _age,
    "place": lambda asked: Q(rack__icontains=asked[1].place),
    "trait": lambda asked: Q(Exists(_with_trait(asked[1].trait))),
    "checked": _checked,
    "planned": _planned,
    "whose": _whose,
    "parent": _parent,
    "collection": lambda asked: Q(collection=asked[1].collection),
}
