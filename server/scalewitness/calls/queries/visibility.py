"""The one visibility query: every read of an animal passes through here.

``all``: the keeper may see everything about the animal. ``blind``: a guest who has not
yet given their own call on this visit sees what identifies the animal and what matters
for its welfare, and nothing that could tell its sex.
"""

from collections.abc import Iterable
from datetime import datetime
from typing import TYPE_CHECKING, Literal, TypedDict
from uuid import UUID

from django.db.models import Case, Exists, OuterRef, Q, QuerySet, Value, When
from django.db.models.fields import CharField

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.queries import collections_ever, is_steward, stewarded_collections
from scalewitness.calls.models import Call
from scalewitness.domain.errors import NotFound
from scalewitness.people.queries import active_grants, covering, grants_on

if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations

Sight = Literal["all", "blind"]


class Seen(TypedDict):
    sight: Sight


def visible_animals(keeper: UUID, now: datetime) -> "QuerySet[WithAnnotations[Animal, Seen]]":
    """Animals the keeper may see now, each annotated with ``sight``.

    Order is by id alone: no order that follows sex, standing or activity.
    """
    grants = covering(active_grants(keeper, now))
    own_call = Call.objects.filter(animal=OuterRef(OuterRef("pk")), by=keeper, visit=OuterRef("pk"))
    opened = grants.filter(Q(blind=False) | Exists(own_call))
    return (
        Animal.objects.select_related("collection")
        .annotate(
            sight=Case(
                When(Q(collection__keeper=keeper) | Exists(opened), then=Value("all")),
                When(Exists(grants), then=Value("blind")),
                default=Value("none"),
                output_field=CharField(),
            )
        )
        .exclude(sight="none")
        .order_by("pk")
    )


def animal_seen(keeper: UUID, animal: UUID, now: datetime) -> tuple[Animal, Sight]:
    """One animal and how much of it the keeper may see.

    Raises:
        NotFound: there is no such animal, or it is not theirs to see; one answer for both.
    """
    found = visible_animals(keeper, now).filter(pk=animal).first()
    if found is None:
        raise NotFound()
    return found, found.sight


def animal_open(keeper: UUID, animal: UUID, now: datetime) -> Animal:
    """An animal the keeper may see whole; a blind guest gets the same answer as anyone
    who may not see it at all."""
    found, sight = animal_seen(keeper, animal, now)
    if sight != "all":
        raise NotFound()
    return found


def parents_told(
    keeper: UUID, animals: Iterable[Animal], now: datetime
) -> dict[UUID, tuple[UUID | None, UUID | None]]:
    """Sire and dam of each animal as far as they may be told: being one tells a sex.

    A keeper or partner is told all but those they are blind to; anyone else only of
    parents that they see whole.
    """
    listed = list(animals)
    parents = {one for animal in listed for one in (animal.sire, animal.dam) if one}
    if not parents:
        return {animal.pk: (None, None) for animal in listed}
    seen = visible_animals(keeper, now).filter(pk__in=parents)
    sights = dict(seen.values_list("pk", "sight"))
    own = {collection.pk for collection in stewarded_collections(keeper, now)}

    def told(animal: Animal, parent: UUID | None) -> UUID | None:
        if parent is None:
            return None
        return parent if _may_be_told(sights.get(parent), animal.collection_id in own) else None

    return {animal.pk: (told(animal, animal.sire), told(animal, animal.dam)) for animal in listed}


def parents_open(keeper: UUID, animal: Animal, parents: Iterable[UUID], now: datetime) -> bool:
    """Whether the keeper, who sees the animal whole, may be told that these are, or once were
    said to be, its parents; the rule is that of :func:`parents_told`."""
    named = set(parents)
    if not named:
        return True
    sights = dict(visible_animals(keeper, now).filter(pk__in=named).values_list("pk", "sight"))
    own = is_steward(keeper, animal.collection, now)
    return all(_may_be_told(sights.get(one), own) for one in named)


def _may_be_told(sight: str | None, own: bool) -> bool:
    """``sight`` of the parent, None where it is out of sight; ``own``: the young one is in a
    collection of theirs."""
    return own if sight is None else sight == "all"


def was_blind(keeper: UUID, animal: Animal) -> bool:
    """Whether nothing in the record ever told this keeper an earlier call on the animal.

    True only for a guest whose every grant on it was blind, who has no call on it yet and
    never kept it; collections it has left count as well.
    """
    collections = collections_ever(animal)
    if Collection.objects.filter(pk__in=collections, keeper=keeper).exists():
        return False
    grants = [grant for one in collections for grant in grants_on(keeper, one, animal.pk)]
    if not grants or any(not grant.blind for grant in grants):
        return False
    return not Call.objects.filter(animal=animal, by=keeper).exists()
