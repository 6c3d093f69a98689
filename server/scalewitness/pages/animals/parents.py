"""Choosing the parents of an animal, or a mate: out of those that may be one."""

from collections.abc import Callable, Mapping
from datetime import date
from functools import partial
from typing import Any, Final, TypeAlias
from uuid import UUID

from django.db.models import QuerySet
from django.utils import timezone

from scalewitness.animals.models import Animal
from scalewitness.breeding.queries.pairings import pairings_seen
from scalewitness.calls.queries.visibility import visible_animals
from scalewitness.domain.parents import Role
from scalewitness.domain.sexing.taxa import NOT_LISTED
from scalewitness.pages.parts.picking import AnimalsToPick, ids_among
from scalewitness.people.models import Keeper
from scalewitness.searching.animals import may_be

OTHER: Final[Mapping[Role, Role]] = {"sire": "dam", "dam": "sire"}
Offer: TypeAlias = Callable[[Any], AnimalsToPick]


def _offered(role: Role, keeper: Keeper, but: UUID | None, form: Any) -> AnimalsToPick:
    """As far as the form is filled in: of its species, or the other parent's; hatched before the
    young; and not verified to be of the other sex. What is chosen already may stay."""
    now = timezone.now()
    whole = visible_animals(keeper.pk, now).filter(sight="all").exclude(pk__in=[but] if but else [])
    rows: QuerySet[Any] = may_be(role, whole)
    other = whole.filter(pk__in=ids_among([form[OTHER[role]].value()]))
    species = form["species"].value() or other.values_list("species", flat=True).first()
    if species and species != NOT_LISTED:  # as crosses are: their parents are of any
        rows = rows.filter(species=species)
    if hatched := _day(form["hatched"].value()):
        rows = rows.exclude(hatched__gte=hatched)
    return AnimalsToPick(rows, keeper.pk, now, _planned(role, other, keeper), whole)


def _planned(role: Role, other: QuerySet[Any], keeper: Keeper) -> list[UUID]:
    """Those planned as it in a pairing: with the other parent, where that is chosen."""
    chosen = set(other.values_list("pk", flat=True))
    seen = pairings_seen(keeper.pk, timezone.now(), among=chosen or None)
    found = (one.sire if role == "sire" else one.dam for one in seen)
    return [one.pk for one in found if one is not None and one.pk not in chosen]


def possible_parents(keeper: Keeper, but: UUID | None = None) -> Mapping[str, Offer]:
    """What a form's sire and dam are chosen out of: all ``but`` the animal itself."""
    return {role: partial(_offered, role, keeper, but) for role in OTHER}


def mates_offered(form: Any, *, animal: Animal, keeper: Keeper) -> AnimalsToPick:
    """For an animal in a season: of its species, but for a cross; not verified to be of the sex
    that it is planned as; and hatched two years before the young at the latest (our judgement:
    none breeds sooner)."""
    now = timezone.now()
    whole = visible_animals(keeper.pk, now).filter(sight="all", ended="").exclude(pk=animal.pk)
    rows: QuerySet[Any] = whole
    if not form["cross"].value():
        rows = rows.filter(species=animal.species)
    role = form["role"].value()
    if role in OTHER:
        rows = may_be(OTHER[role], rows)
    season = str(form["season"].value() or "")
    if season.isdecimal() and 2 < int(season) <= date.max.year:
        rows = rows.exclude(hatched__year__gt=int(season) - 2)
    return AnimalsToPick(rows, keeper.pk, now, allowed=whole)


def _day(given: object) -> date | None:
    try:
        return date.fromisoformat(str(given))
    except ValueError:
        return None
