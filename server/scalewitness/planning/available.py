"""Who could come to check a collection's animals, and what they know already."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Max

from scalewitness.animals.models import Animal, Collection, Custody
from scalewitness.calls.models import Call
from scalewitness.domain.sexing.evidence import Role
from scalewitness.domain.sexing.feasible import Available
from scalewitness.people.models import Grant, Keeper
from scalewitness.people.queries import partners_of
from scalewitness.planning.candidates import AtStake

Known = Mapping[UUID, Set[str]]
"""Animals by keeper."""

GUESTS = 10
"""Past guests looked at, the latest first (our judgement: more make no plan better)."""

ANYBODY: Mapping[str, tuple[str, Role]] = {
    "keeper": ("an independent keeper", "keeper"),
    "veterinarian": ("a veterinarian", "veterinarian"),
    "laboratory": ("a laboratory", "laboratory"),
}
"""Examiners nobody has named yet, by the key that stands for them."""


@dataclass(frozen=True, slots=True)
class Examiners:
    """``names`` by examiner key: a keeper's id, or one of `ANYBODY`."""

    available: tuple[Available, ...]
    names: Mapping[str, str]

    def only(self, key: str | None) -> "Examiners":
        """With just the one of that key, everyone when None. Raises KeyError."""
        if key is None:
            return self
        return Examiners(
            tuple(one for one in self.available if one.examiner == key), {key: self.names[key]}
        )


def examiners_for(
    collection: Collection, animals: Sequence[Animal], stake: AtStake, now: datetime
) -> Examiners:
    """The keeper and partners, past guests, and anybody."""
    stewards = [collection.keeper, *partners_of(collection.pk, now)]
    guests = _past_guests(collection, stewards)
    known = _known_to(guests, animals, stake.informed)
    every = frozenset(str(animal.pk) for animal in animals)
    named = [Available(str(one.pk), "keeper", every, every) for one in stewards]
    named += [
        Available(
            str(one.pk),
            "keeper",
            frozenset(known.get(one.pk, ())),
            frozenset(stake.parties.get(one.pk, ())),
        )
        for one in guests
    ]
    anybody = [_anybody(key, role, every) for key, (_, role) in ANYBODY.items()]
    names = {str(one.pk): one.name for one in (*stewards, *guests)}
    return Examiners((*named, *anybody), names | {key: name for key, (name, _) in ANYBODY.items()})


def _anybody(key: str, role: Role, every: frozenset[str]) -> Available:
    """An independent keeper would send their own call; the others' are reported by whoever
    keeps the animals."""
    if role == "keeper":
        return Available(key, role)
    return Available(key, role, interested_in=every, reported=True)


def _past_guests(collection: Collection, stewards: Iterable[Keeper]) -> list[Keeper]:
    """Keepers who called on a visit to the collection and may come again, latest first."""
    visits = Grant.objects.filter(collection=collection.pk).values("pk")
    latest = (
        Call.objects.filter(visit__in=visits)
        .exclude(by__in=[one.pk for one in stewards])
        .values_list("by")
        .annotate(latest=Max("position"))
        .order_by("-latest")
    )
    wanted = [who for who, _ in latest[:GUESTS]]
    found = Keeper.objects.filter(is_active=True).in_bulk(wanted)
    return [found[who] for who in wanted if who in found]


def _known_to(
    guests: Sequence[Keeper], animals: Sequence[Animal], informed: Mapping[UUID, Set[UUID]]
) -> Known:
    """Of which animals the record ever told each guest a call: see `intake.known.Tie.blind`.
    ``informed``: by keeper, those whose sex they know from a planned pairing."""
    known: defaultdict[UUID, set[str]] = defaultdict(set)
    for guest in guests:
        known[guest.pk] |= {str(animal) for animal in informed.get(guest.pk, ())}
    calls = Call.objects.filter(by__in=[one.pk for one in guests], animal__in=animals)
    for who, animal in calls.values_list("by", "animal"):
        known[who].add(str(animal))
    been_in = _been_in(animals)
    for grant in _open_grants(guests, been_in):
        inside = been_in[grant.collection]
        named = inside if grant.whole else inside & {one.animal for one in grant.named.all()}
        known[grant.to_id] |= {str(animal) for animal in named}
    kept = Collection.objects.filter(pk__in=been_in, keeper__in=guests)
    for collection, who in kept.values_list("pk", "keeper"):
        known[who] |= {str(animal) for animal in been_in[collection]}
    return known


def _open_grants(guests: Iterable[Keeper], collections: Iterable[UUID]) -> Iterable[Grant]:
    """Every grant, past ones too, that was not blind."""
    return Grant.objects.filter(
        to__in=list(guests), collection__in=list(collections), blind=False
    ).prefetch_related("named")


def _been_in(animals: Sequence[Animal]) -> Mapping[UUID, set[UUID]]:
    """The animals by every collection they are or were in."""
    found: defaultdict[UUID, set[UUID]] = defaultdict(set)
    for animal in animals:
        found[animal.collection_id].add(animal.pk)
    moves = Custody.objects.filter(animal__in=animals)
    for one, collection in moves.values_list("animal", "came_from"):
        found[collection].add(one)
    return found
