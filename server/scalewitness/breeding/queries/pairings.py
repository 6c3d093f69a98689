"""Reading planned pairings."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import stewarded_ids
from scalewitness.animals.queries.grants import awaited_among
from scalewitness.breeding.models import Pairing
from scalewitness.calls.queries.visibility import sights_of
from scalewitness.domain.observations import Sex
from scalewitness.standings.models import Standing

AHEAD: dict[str, Any] = {"end": None, "sire__ended": "", "dam__ended": ""}
"""A pairing that is planned still, of two animals that are there."""


@dataclass(frozen=True, slots=True)
class PairingSeen:
    """A pairing as one keeper sees it: ``sire`` and ``dam`` are None where the animal itself
    is not theirs to see."""

    pairing: Pairing
    sire: Animal | None
    dam: Animal | None


def pairing_of(pairing: UUID) -> Pairing | None:
    return _with_animals().filter(pk=pairing).first()


def planned_with(animal: UUID) -> list[Pairing]:
    """Pairings with this animal that are planned still, in the order planned."""
    rows = _with_animals().filter(Q(sire=animal) | Q(dam=animal), end=None)
    return list(rows.order_by("position"))


def is_planned(sire: UUID, dam: UUID, season: int) -> bool:
    return Pairing.objects.filter(sire=sire, dam=dam, season=season, end=None).exists()


def animals_paired(animals: Iterable[UUID]) -> Counter[UUID]:
    """Those of the animals that are in a planned pairing, each with how many it is in."""
    wanted = set(animals)
    rows = Pairing.objects.filter(Q(sire__in=wanted) | Q(dam__in=wanted), **AHEAD)
    pairs = rows.values_list("sire", "dam")
    return Counter(one for pair in pairs for one in pair if one in wanted)


def pairings_seen(
    keeper: UUID, now: datetime, *, among: Iterable[UUID] | None = None
) -> list[PairingSeen]:
    """Planned pairings of animals that the keeper holds or is a partner in, by season; of the
    animals ``among`` them, or all. Where the other animal is one they are still to check blind,
    there is nothing to be seen: a pairing says what each is taken for."""
    held = stewarded_ids(keeper, now)
    rows = _with_animals().filter(
        Q(sire__collection__in=held) | Q(dam__collection__in=held), **AHEAD
    )
    if among is not None:
        wanted = set(among)
        rows = rows.filter(Q(sire__in=wanted) | Q(dam__in=wanted))
    found = list(rows.order_by("season", "position"))
    both = {one for pair in found for one in (pair.sire_id, pair.dam_id)}
    awaited = dict.fromkeys(awaited_among(keeper, both, now), "blind")
    return list(_seen(found, awaited | sights_of(keeper, both, now)))


def _seen(found: Iterable[Pairing], sights: Mapping[UUID, str]) -> Iterator[PairingSeen]:
    for one in found:
        sire, dam = sights.get(one.sire_id), sights.get(one.dam_id)
        if "blind" not in {sire, dam}:
            yield PairingSeen(one, one.sire if sire else None, one.dam if dam else None)


def was_verified(animal: UUID, sex: Sex, since: int, before: int) -> bool:
    """Whether it stood as verified to be of that sex at log position ``since``, or at any time
    after and before ``before``."""
    rows = Standing.objects.filter(animal=animal, position__lt=before)
    then = rows.filter(position__lte=since).order_by("-position").first()
    if then is not None and then.label == f"verified {sex}":
        return True
    return rows.filter(position__gt=since, label=f"verified {sex}").exists()


def _with_animals() -> QuerySet[Pairing, Pairing]:
    rows = Pairing.objects.select_related("sire__collection__keeper", "dam__collection__keeper")
    return rows.prefetch_related("sire__identifiers", "dam__identifiers")
