"""Who could come to check a collection's animals, and what they know already."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal, get_args
from uuid import UUID

from django.db.models import Max
from msgspec import structs

from scalewitness.animals.models import Animal, Collection, Custody
from scalewitness.animals.queries.grants import partners_of
from scalewitness.calls.models import Call
from scalewitness.domain.reports import Quoted
from scalewitness.domain.sexing.evidence import Role
from scalewitness.domain.sexing.feasible import Available, planning_number
from scalewitness.domain.sexing.planning import Check
from scalewitness.people.models import Grant, Keeper, Practitioner
from scalewitness.people.queries import practitioners_asked
from scalewitness.planning.candidates import AtStake
from scalewitness.standings.queries.footing import footing_of

Known = Mapping[UUID, Set[str]]
"""Animals by keeper."""

Party = Literal["owner", "guest", "veterinarian", "laboratory"]
"""Whose check it is: of those who keep the animals, of another keeper, of a trade."""
PARTIES: tuple[Party, ...] = get_args(Party)

GUESTS = 10
"""Past guests looked at, the latest first (our judgement: more make no plan better)."""

ANYBODY: Mapping[str, tuple[str, Role, Party]] = {
    "keeper": ("an independent keeper", "keeper", "guest"),
    "veterinarian": ("a veterinarian", "veterinarian", "veterinarian"),
    "laboratory": ("a laboratory", "laboratory", "laboratory"),
}
"""Examiners nobody has named yet, by the key that stands for them."""


@dataclass(frozen=True, slots=True)
class Prices:
    """What one check costs by whose it is, and what a wrong sex costs: all in one money of the
    keeper's, above nothing the last."""

    by: Mapping[Party, float]
    wrong_sex: float

    def cost(self, party: Party) -> float:
        """As a share of one wrong decision."""
        return self.by[party] / self.wrong_sex


SUPPOSED_PRICES = Prices(
    {party: planning_number("price", party) for party in PARTIES},
    planning_number("price", "wrong_sex"),
)
"""Until a keeper enters theirs."""


@dataclass(frozen=True, slots=True)
class Examiners:
    """``names`` by examiner key: a keeper's or practitioner's id, or one of `ANYBODY`;
    ``parties`` likewise."""

    available: tuple[Available, ...]
    names: Mapping[str, str]
    parties: Mapping[str, Party]

    @property
    def expected(self) -> list[str]:
        """The keys of those who are thought to come when nobody says who does."""
        return [key for key, party in self.parties.items() if planning_number("comes", party)]

    def confirms(self, check: Check) -> bool:
        """Whether its examiner is a practice that can be asked, and whose answer counts."""
        by_key = {one.examiner: one for one in self.available}
        return check.animal in by_key[check.examiner].confirms

    def priced(self, prices: Prices) -> "Examiners":
        """With what a keeper says that checks cost."""
        available = (
            structs.replace(one, cost=prices.cost(self.parties[one.examiner]))
            for one in self.available
        )
        return replace(self, available=tuple(available))

    def only(self, keys: Iterable[str]) -> "Examiners":
        """With just those. Raises KeyError."""
        wanted = {key: self.names[key] for key in keys}
        return replace(
            self, available=tuple(one for one in self.available if one.examiner in wanted)
        )


def examiners_for(
    collection: Collection,
    animals: Sequence[Animal],
    stake: AtStake,
    now: datetime,
) -> Examiners:
    """The keeper and partners, anybody, past guests, and practices they named whose answer
    counts, at the prices that are supposed. Of those who would do as well the first is planned
    with."""
    stewards = [collection.keeper, *partners_of(collection.pk, now)]
    guests = _past_guests(collection, stewards)
    known = _known_to(guests, animals, stake.informed([one.pk for one in guests]))
    every = frozenset(str(animal.pk) for animal in animals)
    found: list[tuple[Available, str, Party]] = [
        (Available(str(one.pk), "keeper", every, every), one.name, "owner") for one in stewards
    ]
    found += [
        (_anybody(key, role, every), name, party) for key, (name, role, party) in ANYBODY.items()
    ]
    for one in guests:
        knows, shares = known.get(one.pk, ()), stake.parties.get(one.pk, ())
        new = footing_of(one.pk) == "none"
        guest = Available(str(one.pk), "keeper", frozenset(knows), frozenset(shares), newcomer=new)
        found.append((guest, one.name, "guest"))
    found += _practices(stewards, every, stake)
    return Examiners(
        tuple(one for one, _, _ in found),
        {one.examiner: name for one, name, _ in found},
        {one.examiner: party for one, _, party in found},
    ).priced(SUPPOSED_PRICES)


def _anybody(key: str, role: Role, every: frozenset[str]) -> Available:
    """An independent keeper would send their own call; the others' are reported by whoever
    keeps the animals."""
    if role == "keeper":
        return Available(key, role, anyone=True)
    return Available(key, role, interested_in=every, reported=True)


def _practices(
    stewards: Iterable[Keeper], every: frozenset[str], stake: AtStake
) -> Iterable[tuple[Available, str, Party]]:
    """Veterinarians and laboratories whose calls the stewards reported, and who confirm what is
    reported of them again: the operator entered their address, or their account is a practice's by
    the word of two keepers."""
    rows = Practitioner.objects.filter(named_by__in=list(stewards))
    known = {key: (name, by) for key, name, by in rows.values_list("pk", "name", "named_by")}
    calls = Call.objects.filter(examiner__in=known, role__in=_TRADES)
    roles = list(calls.values_list("examiner", "role").distinct().order_by("examiner", "role"))
    entered = practitioners_asked(known)
    counting = stake.confirmed(
        {
            Quoted(key, role, known[key][1], UUID(animal))
            for key, role in roles
            for animal in every
            if key not in entered
        }
    )
    for key, role in roles:
        named = (one for one in counting if (one.practitioner, one.role) == (key, role))
        confirms = every if key in entered else frozenset(str(one.animal) for one in named)
        if confirms:
            trade, name = _TRADES[role], known[key][0]
            yield (
                Available(str(key), trade, interested_in=every, reported=True, confirms=confirms),
                name,
                trade,
            )


_TRADES: Mapping[str, Literal["veterinarian", "laboratory"]] = {
    "veterinarian": "veterinarian",
    "laboratory": "laboratory",
}


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
    """Of which animals the record ever told each guest a call: see `intake.known.Tie.blind_on`.
    ``informed``: by keeper, those whose sex their use told them."""
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
