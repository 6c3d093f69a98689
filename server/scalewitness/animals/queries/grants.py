"""Which grants are in force: who may see what of whose, and keeps it with whom.

A partner's or viewer's grant needs nobody's acceptance. Given to somebody whose blind check is
awaited, it opens nothing before that is in: else a host could spoil every check they fear, between
the check and the moment the phone has a signal, and an honest one would do so by accident.
"""

from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final, cast
from uuid import UUID

from django.db.models import Exists, F, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from scalewitness.animals.models import Animal, Custody
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import heard_after
from scalewitness.ledger.queries.prepared import Prepared
from scalewitness.people.models import Grant, GrantAnimal, GrantEnd, Keeper

LATE_LIMIT = timedelta(days=14)
"""How long after the end of a visit its guest's calls need nobody's decision (our judgement)."""
UNASKED = (Grant.Role.PARTNER, Grant.Role.VIEWER)
"""Roles that a keeper gives without the other's word."""


def active_grants(keeper: UUID, now: datetime, size: int | None = None) -> QuerySet[Grant]:
    """Grants in force at ``now``; with ``size``, as the log's first ``size`` entries had it.
    Those that still wait for a blind check are not in force."""
    grants = _in_force(Grant.objects.filter(to=keeper), now, size).order_by()
    if size is None:
        return grants.filter(end=None)
    ended = GrantEnd.objects.filter(grant=OuterRef("pk"), position__lt=size)
    return grants.filter(~Exists(ended), position__lt=size)


def partnerships(collections: Iterable[UUID], now: datetime) -> QuerySet[Grant]:
    """The grants by which keepers are partners in these collections."""
    given = Grant.objects.filter(collection__in=list(collections), role=Grant.Role.PARTNER)
    return _in_force(given, now, None).filter(end=None)


def partners_of(collection: UUID, now: datetime) -> QuerySet[Keeper]:
    return Keeper.objects.filter(grants__in=partnerships([collection], now)).distinct()


def partners_by_room(collections: Iterable[UUID], now: datetime) -> dict[UUID, set[UUID]]:
    """Of those of the collections that have any, who the partners are."""
    found: dict[UUID, set[UUID]] = {}
    for room, who in partnerships(collections, now).values_list("collection", "to"):
        found.setdefault(room, set()).add(who)
    return found


def is_partner(keeper: UUID, collection: UUID, now: datetime, *, waiting: bool = False) -> bool:
    """Whether they are one; with ``waiting``, or will be once a blind check is in."""
    asked = PARTNERS_WAITING if waiting else PARTNERS
    return bool(asked.ask(keeper=keeper, collection=collection, now=now))


def _partners(grants: QuerySet[Grant], collection: UUID) -> QuerySet[Grant, Any]:
    given = grants.filter(collection=collection, role=Grant.Role.PARTNER, whole=True)
    return given.order_by().values_list("pk")[:1]


def _partners_waiting(keeper: UUID, collection: UUID, now: datetime) -> QuerySet[Grant, Any]:
    given = Grant.objects.filter(to=keeper, end=None)
    return _partners(_in_time(given, now), collection)


STAND_INS: Final = {
    "keeper": UUID(int=1), "collection": UUID(int=2), "now": datetime(1, 1, 1, tzinfo=UTC)
}  # fmt: skip
PARTNERS: Final = Prepared(
    lambda keeper, collection, now: _partners(active_grants(keeper, now), collection), **STAND_INS
)
PARTNERS_WAITING: Final = Prepared(_partners_waiting, **STAND_INS)


def _in_force(grants: QuerySet[Grant], now: datetime, size: int | None) -> QuerySet[Grant]:
    """Those that have opened, have not closed by themselves and wait for nothing."""
    return _in_time(grants, now).exclude(Exists(_waited_for(now, size)), role__in=UNASKED)


def _in_time(grants: QuerySet[Grant], now: datetime) -> QuerySet[Grant]:
    return grants.filter(Q(closes=None) | Q(closes__gt=now), opens__lte=now)


def awaited_checks(keeper: UUID, now: datetime, size: int | None = None) -> QuerySet[GrantAnimal]:
    """The keeper's blind checks of which the call may still come in without anybody's decision:
    from the acceptance of the visit until there is one, or for `LATE_LIMIT` after the visit ended.
    A guest who gives the visit back is waited for no more, nor is one that never opened."""
    return _awaited(now, size).filter(grant__to=keeper)


def awaited_among(keeper: UUID, animals: Iterable[UUID], now: datetime) -> dict[UUID, int]:
    """Of the animals, those whose blind check by the keeper is awaited: since what log position."""
    wanted = list(animals)
    if not wanted:
        return {}
    rows = awaited_checks(keeper, now).filter(animal__in=wanted).order_by("-grant__position")
    return dict(rows.values_list("animal", "grant__position"))


def opened(
    given: Mapping[UUID, Sequence[Grant]], awaited: Mapping[UUID, int], came: datetime | None
) -> dict[UUID, list[Grant]]:
    """Of the grants that cover each animal, those that opened anything of it. The others were given
    since a blind check of it is ``awaited`` (a log position), or since the call ``came``."""
    unasked = {one.position for grants in given.values() for one in grants if one.role in UNASKED}
    since = heard_after(unasked, came) if came else set()
    return {
        animal: [one for one in grants if not _is_shut(one, awaited.get(animal), since)]
        for animal, grants in given.items()
    }


def _is_shut(grant: Grant, awaited: int | None, since: Set[int]) -> bool:
    if grant.role not in UNASKED:
        return False
    return grant.position in since or (awaited is not None and grant.position > awaited)


def _awaited(now: datetime, size: int | None) -> QuerySet[GrantAnimal]:
    called = Entry.objects.filter(
        kind="call_made",
        by=OuterRef("grant__to"),
        about=OuterRef("animal"),
        position__gt=OuterRef("grant__position"),
    )
    own = Entry.objects.filter(position=OuterRef("position"), by=OuterRef("grant__to"))
    ends = GrantEnd.objects.alias(over=F("at") + LATE_LIMIT).filter(grant=OuterRef("grant"))
    ended = ends.filter(Q(over__lte=now) | Q(at__lte=F("grant__opens")) | Exists(own))
    if size is not None:
        called, ended = called.filter(position__lt=size), ended.filter(position__lt=size)
    checks = GrantAnimal.objects.alias(over=F("grant__closes") + LATE_LIMIT)
    checks = checks.filter(grant__blind=True, over__gt=now)
    return checks.filter(~Exists(called), ~Exists(ended))


def _waited_for(now: datetime, size: int | None) -> QuerySet[GrantAnimal]:
    """Of a grant of an outer query, the checks of what it covers that it came after."""
    grant = Grant.objects.filter(pk=OuterRef(OuterRef("pk")))
    covers = grant.filter(Q(whole=True) | Q(named__animal=OuterRef("animal")))
    held_in, here = "collection", Animal.objects.filter(pk=OuterRef("animal"))
    if size is not None:
        held_in, here = "held_in", here.annotate(held_in=held_in_at(size))
    here = here.filter(**{held_in: OuterRef(OuterRef("collection"))})
    before = {"grant__to": OuterRef("to"), "grant__position__lt": OuterRef("position")}
    return _awaited(now, size).filter(Exists(here), Exists(covers), **before)


def held_in_at(size: int) -> Coalesce:
    """The collection an animal was in: where its first later move came from."""
    later = Custody.objects.filter(animal=OuterRef("pk"), position__gte=size).order_by("position")
    return Coalesce(Subquery(later.values("came_from")[:1]), F("collection_id"))


@dataclass(frozen=True, slots=True)
class Wait:
    """What a grant that opens nothing yet waits for: the calls on ``animals``, of ``visits``,
    ``until`` then at the latest."""

    until: datetime
    animals: frozenset[UUID]
    visits: frozenset[UUID]


def waits_of(grants: Iterable[Grant], now: datetime) -> dict[UUID, Wait]:
    """By grant, what it waits for; those that wait for nothing are absent."""
    listed = [one for one in grants if one.role in UNASKED]
    checks = _awaited(now, None).filter(grant__to__in=[one.to_id for one in listed])
    rows = list(checks.select_related("grant__end"))
    homes = dict(Animal.objects.filter(pk__in=[row.animal for row in rows]).values_list(*_HOME))
    found = {one.pk: [row for row in rows if _waits_for(one, row, homes)] for one in listed}
    return {grant: _wait(checks) for grant, checks in found.items() if checks}


_HOME: Final = ("pk", "collection")


def _waits_for(grant: Grant, check: GrantAnimal, homes: Mapping[UUID, UUID]) -> bool:
    """As `_waited_for` has it."""
    before = grant.to_id == check.grant.to_id and check.grant.position < grant.position
    covers = grant.whole or check.animal in {one.animal for one in grant.named.all()}
    return before and covers and homes[check.animal] == grant.collection


def _wait(checks: Sequence[GrantAnimal]) -> Wait:
    until = max(awaited_until([one.grant for one in checks]).values())
    animals = frozenset(one.animal for one in checks)
    return Wait(until, animals, frozenset(one.grant_id for one in checks))


def awaited_until(visits: Sequence[Grant]) -> dict[UUID, datetime]:
    """How long at most the calls of each visit are awaited, as `_awaited` has it. ``visits``: each
    with its end."""
    ends = {one.end.position: one for one in visits if hasattr(one, "end")}
    given = Entry.objects.filter(position__in=ends).values_list("position", "by") if ends else ()
    back = {ends[position].pk for position, by in given if by == ends[position].to_id}
    return {one.pk: _awaited_until(one, given_back=one.pk in back) for one in visits}


def _awaited_until(visit: Grant, *, given_back: bool) -> datetime:
    until = cast(datetime, visit.closes) + LATE_LIMIT
    if not hasattr(visit, "end"):
        return until
    at = visit.end.at
    return min(until, at if given_back or at <= visit.opens else at + LATE_LIMIT)
