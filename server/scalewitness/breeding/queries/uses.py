"""Who was told the sex of an animal by its use: `domain.uses`, asked of the record."""

from collections.abc import Collection, Iterable, Iterator, Mapping
from datetime import datetime
from uuid import UUID

from django.db.models import Exists, OuterRef, Q

from scalewitness.animals.models import Animal, Custody
from scalewitness.animals.models import Collection as AnimalCollection
from scalewitness.animals.queries.grants import awaited_until
from scalewitness.breeding.models import Pairing
from scalewitness.domain.uses import EVER, NEVER, Moment, Span, Use, is_informed
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import EntryLine, leaf_of, lines_of_kinds
from scalewitness.people.models import Grant

NAMING = frozenset({"animal_registered", "particulars_corrected", "linkage_stated"})
"""Kinds of facts that may name a parent."""
Stays = Mapping[UUID, list[tuple[UUID, Span]]]
"""By animal, the collections it was in, and when."""


def informed_by_use(
    people: Iterable[UUID], animals: Iterable[UUID], now: datetime
) -> dict[UUID, set[UUID]]:
    """By person, those of the animals whose sex their use told them by ``now``."""
    wanted, so_far = set(animals), Span(until=(now, NEVER[1]))
    return {person: _informed(person, wanted, so_far) for person in people} if wanted else {}


def _informed(person: UUID, animals: set[UUID], so_far: Span) -> set[UUID]:
    rooms = _rooms(person)
    uses = [*_as_parents(animals, rooms), *_in_pairings(animals)]
    stays = _stays({one.other for one in uses})
    shut = _blind(person, {one.animal for one in uses})
    return {
        use.animal
        for use in uses
        if is_informed(
            person,
            use,
            (
                stay.within(held).within(so_far)
                for room, stay in stays[use.other]
                for held in rooms.get(room, ())
            ),
            shut.get(use.animal, ()),
        )
    }


def _rooms(person: UUID) -> dict[UUID, list[Span]]:
    """When they kept a collection or were a partner in it."""
    own = AnimalCollection.objects.filter(keeper=person).values_list("pk", flat=True)
    found = {room: [Span()] for room in own}
    given = Grant.objects.filter(to=person, role=Grant.Role.PARTNER, whole=True)
    for grant, span in _lasting(given.select_related("end")):
        found.setdefault(grant.collection, []).append(span)
    return found


def _lasting(grants: Iterable[Grant]) -> Iterator[tuple[Grant, Span]]:
    """When each grant was in force, as the record had it."""
    listed = list(grants)
    ends = {one.pk: one.end.position for one in listed if hasattr(one, "end")}
    at = _moments([*(one.position for one in listed), *ends.values()])
    for one in listed:
        closes = (one.closes, 0) if one.closes else NEVER
        ended = at[ends[one.pk]] if one.pk in ends else NEVER
        yield one, Span(max((one.opens, 0), at[one.position]), min(closes, ended))


def _moments(positions: Collection[int]) -> dict[int, Moment]:
    if not positions:
        return {}
    rows = Entry.objects.filter(position__in=positions).values_list("position", "received_at")
    return {position: (received, position) for position, received in rows}


def _as_parents(animals: set[UUID], rooms: Collection[UUID]) -> Iterator[Use]:
    """Wherever one of ``animals`` was named a parent of what is or was in one of ``rooms``."""
    named = Animal.history.filter(Q(sire__in=animals) | Q(dam__in=animals)).values("id")
    left = Custody.objects.filter(animal=OuterRef("pk"), came_from__in=rooms)
    here = Q(collection__in=rooms) | Exists(left)
    young = Animal.ever.filter(here, pk__in=named) if rooms else Animal.ever.none()
    for entry in lines_of_kinds(young.values_list("pk", flat=True), NAMING):
        for parent in _parents(entry) & animals:
            yield _named(entry, parent)


def _parents(entry: EntryLine) -> set[UUID]:
    if b'"sire":' not in entry.leaf and b'"dam":' not in entry.leaf:
        return set()
    body = leaf_of(entry).body
    return {UUID(str(body[role])) for role in ("sire", "dam") if body.get(role)}


def _named(entry: EntryLine, parent: UUID) -> Use:
    assert entry.about is not None  # noqa: S101  it was found by what it is about
    since = Span((entry.received_at, entry.position))
    of = "linkage" if entry.kind == "linkage_stated" else "parent"
    return Use(parent, entry.about, entry.by, since, of)  # type: ignore[arg-type]


def _in_pairings(animals: set[UUID]) -> Iterator[Use]:
    rows = Pairing.objects.filter(Q(sire__in=animals) | Q(dam__in=animals))
    listed = list(rows.values_list("sire", "dam", "by", "position", "end__position"))
    at = _moments([place for *_, since, end in listed for place in (since, end) if place])
    for sire, dam, by, since, end in listed:
        planned = Span(at[since], at[end] if end else NEVER)
        for animal, mate in ((sire, dam), (dam, sire)):
            if animal in animals:
                yield Use(animal, mate, by, planned, "pairing")


def _stays(animals: set[UUID]) -> Stays:
    if not animals:
        return {}
    moves = Custody.objects.filter(animal__in=animals).order_by("position")
    listed = list(moves.values_list("animal", "came_from", "position"))
    at = _moments([position for *_, position in listed])
    found: dict[UUID, list[tuple[UUID, Span]]] = {one: [] for one in animals}
    since: dict[UUID, Moment] = {}
    for animal, room, position in listed:
        found[animal].append((room, Span(since.get(animal, EVER), at[position])))
        since[animal] = at[position]
    rows = Animal.objects.filter(pk__in=animals).values_list("pk", "collection")
    for animal, room in rows:
        found[animal].append((room, Span(since.get(animal, EVER))))
    return found


def _blind(person: UUID, animals: set[UUID]) -> dict[UUID, list[Span]]:
    """As long as their check of each of these animals was awaited."""
    if not animals:
        return {}
    given = Grant.objects.filter(to=person, blind=True, named__animal__in=animals).distinct()
    grants = list(given.select_related("end").prefetch_related("named"))
    at, until = _moments([one.position for one in grants]), awaited_until(grants)
    found: dict[UUID, list[Span]] = {}
    for grant in grants:
        span = Span(at[grant.position], (until[grant.pk], NEVER[1]))
        for one in grant.named.all():
            found.setdefault(one.animal, []).append(span)
    return found
