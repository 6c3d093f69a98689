"""Whether a pairing of two keepers' animals is agreed: by both, while they keep them."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import datetime
from uuid import UUID

from django.db.models import F

from scalewitness.animals.queries.grants import partners_by_room
from scalewitness.breeding.models import Pairing, PairingAgreement

Awaited = Mapping[UUID, UUID]
"""By animal, the collection it is in."""


def awaited_in(pairings: Iterable[UUID], now: datetime) -> dict[UUID, Awaited]:
    """Of pairings of two keepers' animals, those whose keeper, or a partner in the collection, has
    neither planned the pairing nor agreed to it. Whoever is neither any more agreed to nothing."""
    apart = Pairing.objects.filter(pk__in=list(pairings)).exclude(
        sire__collection__keeper=F("dam__collection__keeper")
    )
    sides = [
        (pk, by, *side)
        for pk, by, *both in apart.values_list("pk", "by", *_side("sire"), *_side("dam"))
        for side in (both[:3], both[3:])
    ]
    speakers = defaultdict[UUID, set[UUID]](set)
    rows = PairingAgreement.objects.filter(pairing__in={pk for pk, *_ in sides})
    for pk, by in rows.values_list("pairing", "by") if sides else ():
        speakers[pk].add(by)
    found: defaultdict[UUID, dict[UUID, UUID]] = defaultdict(dict)
    partners = partners_by_room({room for *_, room, _ in sides}, now)
    for pk, by, animal, room, keeper in sides:
        if (speakers[pk] | {by}).isdisjoint({keeper, *partners.get(room, ())}):
            found[pk][animal] = room
    return dict(found)


def _side(role: str) -> tuple[str, str, str]:
    """An animal, the collection it is in and who keeps that."""
    return role, f"{role}__collection", f"{role}__collection__keeper"
