"""What grants came to: whether a partner ever was one in deed (anybody may name anybody a partner,
unasked), and whether somebody was ever granted anything of an animal."""

from collections.abc import Iterable
from typing import Final
from uuid import UUID

from django.db.models import OuterRef, Q, Subquery

from scalewitness.animals.models import Animal, Collection, Custody
from scalewitness.ledger.queries.prepared import asked
from scalewitness.people.models import Grant

_ACTED = """
SELECT EXISTS (
  SELECT FROM people_grant g LEFT JOIN people_grantend n ON n.grant_id = g.id
  JOIN ledger_entry e ON e.by = g.to_id AND e.position > g.position
    AND e.position < COALESCE(n.position, 9223372036854775807)
  JOIN animals_animal a ON a.id = e.about
  WHERE g.to_id = %(keeper)s AND g.collection = %(collection)s AND g.role = 'partner'
  AND COALESCE((
    SELECT c.came_from FROM animals_custody c WHERE c.animal_id = a.id AND c.position >= e.position
    ORDER BY c.position LIMIT 1), a.collection_id) = g.collection
  AND (e.kind = ANY(%(partners)s) OR e.kind = ANY(%(guests)s) AND NOT EXISTS (
    SELECT FROM people_grant v WHERE v.to_id = g.to_id AND v.collection = g.collection
    AND v.role = 'guest' AND v.position < e.position)))
"""
"""Of an animal that was in the collection then."""
_PARTNERS: Final = [
    "animal_registered",
    "particulars_corrected",
    "identifier_assigned",
    "identifier_withdrawn",
    "custody_changed",
    "animal_ended",
    "end_corrected",
    "registered_in_error",
    "linkage_stated",
]
"""Kinds that only keeper and partners state."""
_GUESTS: Final = ["call_made", "husbandry_noted", "photo_attached"]
"""Kinds that guests state as well, also after the visit, perhaps unaware that they were named."""


def acted_as_partner(keeper: UUID, collection: UUID) -> bool:
    """Whether they ever stated something of an animal in the collection as a partner in it."""
    values = {"keeper": keeper, "collection": collection}
    ((acted,),) = asked(_ACTED, values | {"partners": _PARTNERS, "guests": _GUESTS})
    return bool(acted)


def share_a_collection(one: UUID, other: UUID) -> bool:
    """Whether they are the same, or ever kept or were partners in one collection: a partnership
    that ended a minute ago counts too (our judgement). In somebody else's collection both must
    have acted as partners, since its keeper may name anybody one, unasked."""
    return bool(sharing_with(one, [other]))


def sharing_with(person: UUID, others: Iterable[UUID]) -> set[UUID]:
    """Those of them who :func:`share_a_collection` with the person."""
    wanted = set(others)
    keeper = Collection.objects.filter(pk=OuterRef("collection")).values("keeper")
    given = Grant.objects.filter(to__in={person, *wanted}, role=Grant.Role.PARTNER)
    rooms: dict[UUID, dict[UUID, UUID]] = {one: {} for one in (person, *wanted)}
    for one, room, kept_by in given.values_list("to", "collection", Subquery(keeper)):
        rooms[one][room] = kept_by

    def share(other: UUID) -> bool:
        if other == person or other in rooms[person].values() or person in rooms[other].values():
            return True
        shared = rooms[person].keys() & rooms[other].keys()
        return any(all(acted_as_partner(one, room) for one in (person, other)) for room in shared)

    return {one for one in wanted if share(one)}


def given_access_by(keeper: UUID) -> list[Grant]:
    """The last grant that they gave to each of those who may see, or saw, their own collections,
    the latest first. Not those who gave them one: anybody may do that, unasked, under any name."""
    own = Collection.objects.filter(keeper=keeper)
    rows = Grant.objects.filter(collection__in=own.values("pk"), to__is_active=True)
    last = rows.order_by("to", "-position").distinct("to").select_related("to")
    return sorted(last, key=lambda one: one.position, reverse=True)


def was_ever_granted(keeper: UUID, animal: UUID) -> bool:
    """Whether a grant of theirs, past or not, may have covered the animal; by one question,
    asked alike of what is not there."""
    left = Custody.objects.filter(animal=animal).values("came_from")
    home = Animal.objects.filter(pk=animal).values("collection")
    there = Q(whole=True) & (Q(collection__in=home) | Q(collection__in=left))
    return Grant.objects.filter(there | Q(named__animal=animal), to=keeper).exists()
