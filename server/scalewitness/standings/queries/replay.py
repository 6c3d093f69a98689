"""Recompute every standing from the log alone and compare it with what was logged.

Animal by animal, not in the order of the log: what is held in memory is what some animals need.
"""

from collections.abc import Iterable, Iterator
from itertools import groupby
from uuid import UUID

import msgspec
from django.db.models import Exists, OuterRef, QuerySet

from scalewitness.domain import facts
from scalewitness.domain.sexing.recomputing import KINDS
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.spans import bounds
from scalewitness.ledger.queries.tree import tip
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.replay_animals import (
    Retraced,
    StandingDifference,
    cannot_go_on,
)
from scalewitness.standings.queries.rules_as_of import RECORD, Rests, RulesAsOf
from scalewitness.standings.queries.surroundings import (
    DISPUTES,
    RULES,
    AnimalSpan,
    spans,
    surroundings,
)

NUMBERED = frozenset({"identifier_assigned", "identifier_withdrawn", "registered_in_error"})
"""Facts that tell which records bear which transponder."""
MOVED = "custody_changed"
ABOUT_ANIMALS = (KINDS - RULES - {RECORD} - DISPUTES) | NUMBERED | {MOVED}
COMPARED = ("label", "p_male", "p_male_pessimistic", "known_elsewhere", "calls_elsewhere")


class SpanReplayed(msgspec.Struct):
    """What came of some animals: how many standings were ``checked``, and what differs."""

    checked: int = 0
    differences: list[StandingDifference] = msgspec.field(default_factory=list)


class Replay:
    """Goes through the log. ``checked`` counts the standings recomputed so far."""

    def __init__(self) -> None:
        self.checked = 0

    def differences(self) -> list[StandingDifference]:
        """All of them, in the order of their positions."""
        size = tip().size
        around = surroundings(size)
        found = [*around.faults, *strays(size)]
        for span in spans(bounds(size), around):
            replayed = replay_span(around.rests, size, 0, span)
            self.checked += replayed.checked
            found += replayed.differences
        return sorted(found, key=lambda one: one.position)


def replay_span(rests: Rests, size: int, since: int, span: AnimalSpan) -> SpanReplayed:
    """The standings of these animals from position ``since`` on, by all that the log of ``size``
    entries says of them."""
    replayed, stated = SpanReplayed(), list[tuple[int, UUID, facts.StandingChanged]]()
    rules = RulesAsOf(rests)
    for entries in _together(span, size, since):
        animals = Retraced(rules, since)
        try:
            replayed.differences += animals.over(entries)
        except (ValueError, LookupError, msgspec.MsgspecError) as fault:
            replayed.differences.append(cannot_go_on(animals.position, entries[0].about, fault))
        stated += animals.stated
    replayed.checked = len(stated)
    replayed.differences += _unlike_rows(stated)
    return replayed


def _together(span: AnimalSpan, size: int, since: int) -> Iterator[list[Entry]]:
    """Entries about each animal, or about those that are judged together, in log order."""
    for animal, about in groupby(_in_span(span, size, since), key=lambda one: one.about):
        if animal not in span.apart:
            entries = list(about)
            yield _merged(entries, span.disputes.get(animal or UUID(int=0), ()), size)
    for group in span.groups:
        disputes = [one for animal in group for one in span.disputes.get(animal, ())]
        yield _merged([], [*group, *disputes], size)


def _merged(entries: list[Entry], more: Iterable[UUID], size: int) -> list[Entry]:
    """With those about other things, in log order."""
    if not more:
        return entries
    rows = Entry.objects.filter(about__in=list(more), kind__in=ABOUT_ANIMALS | DISPUTES)
    entries += rows.filter(position__lt=size)
    return sorted(entries, key=lambda one: one.position)


def _in_span(span: AnimalSpan, size: int, since: int) -> Iterator[Entry]:
    rows = Entry.objects.filter(kind__in=ABOUT_ANIMALS, position__lt=size)
    if span.first is not None:
        rows = rows.filter(about__gte=span.first)
    if span.end is not None:
        rows = rows.filter(about__lt=span.end)
    if since:
        rows = rows.filter(about__in=_standings(size, since).values("about"))
    return rows.order_by("about", "position").iterator(chunk_size=1_000)


def _standings(size: int, since: int) -> QuerySet[Entry]:
    return Entry.objects.filter(
        kind="standing_changed", position__gte=since, position__lt=size
    ).order_by()


def _unlike_rows(
    stated: Iterable[tuple[int, UUID, facts.StandingChanged]],
) -> Iterator[StandingDifference]:
    """Standings whose rows are missing, or not as the log has them."""
    stated = list(stated)
    rows = Standing.objects.filter(position__in=[position for position, _, _ in stated])
    kept = {position: tuple(row) for position, *row in rows.values_list("position", *COMPARED)}
    for position, animal, logged in stated:
        row = kept.get(position)
        if row is None:
            yield StandingDifference(position, animal, "the stored standing is missing")
        elif row != tuple(getattr(logged, one) for one in COMPARED):
            what = "the stored standing differs from the log"
            yield StandingDifference(position, animal, what)


def strays(size: int, since: int = 0) -> Iterator[StandingDifference]:
    """Stored standings that the log does not have."""
    logged = Entry.objects.filter(kind="standing_changed", position=OuterRef("position"))
    rows = Standing.objects.filter(~Exists(logged), position__gte=since)
    for position, animal in rows.order_by("position").values_list("position", "animal_id"):
        yield StandingDifference(position, animal, "a standing that the log does not hold")
