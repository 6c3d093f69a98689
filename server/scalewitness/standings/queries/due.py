"""Animals whose standing was stated before the rule, or the record of an examiner of theirs, that
it would be measured by now."""

from collections.abc import Collection, Iterator
from typing import Any, NamedTuple
from uuid import UUID

from django.db.models import F, Max, OuterRef, Subquery

from scalewitness.calls.models import Call
from scalewitness.ledger.queries.entries import entry_at
from scalewitness.standings.models import AdoptedPolicy, ExaminerRecord, Standing


class Reassessment(NamedTuple):
    """An animal to be reassessed, and the fact, with its kind, that makes it necessary."""

    animal: UUID
    cause: UUID
    kind: str


def due(animals: Collection[UUID] | None = None) -> list[Reassessment]:
    """All such animals, or those among ``animals``, by id; each once."""
    found = {one.animal: one for one in (*_by_record(animals), *_by_policy(animals))}
    return [found[animal] for animal in sorted(found)]


def _by_policy(animals: Collection[UUID] | None) -> Iterator[Reassessment]:
    policy = AdoptedPolicy.objects.order_by("-position").first()
    entry = entry_at(policy.position) if policy else None
    if entry is None:
        return
    standings = Standing.objects.filter(**_among(animals)).order_by()
    stated = standings.values("animal").annotate(last=Max("position"))
    for row in stated.filter(last__lt=entry.position):
        yield Reassessment(row["animal"], entry.fact, entry.kind)


def _by_record(animals: Collection[UUID] | None) -> Iterator[Reassessment]:
    """Of those who made a call that counts."""
    records = ExaminerRecord.objects.filter(examiner=OuterRef("examiner")).order_by("-position")
    standings = Standing.objects.filter(animal=OuterRef("animal")).order_by("-position")
    recorded = Call.objects.filter(examiner__in=ExaminerRecord.objects.values("examiner"))
    counting = recorded.filter(withdrawal=None, set_aside=None, **_among(animals))
    behind = counting.annotate(
        told=Subquery(records.values("position")[:1]),
        stated=Subquery(standings.values("position")[:1]),
        record=Subquery(records.values("pk")[:1]),
    ).filter(told__gt=F("stated"))
    for animal, record in behind.order_by("position").values_list("animal", "record"):
        yield Reassessment(animal, record, "examiner_record_changed")


def _among(animals: Collection[UUID] | None) -> dict[str, Any]:
    return {} if animals is None else {"animal__in": animals}
