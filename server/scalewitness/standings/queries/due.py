"""Animals whose standing was stated before the rule, or the record or a deceit of an examiner of
theirs, that it would be measured by now; or before numbers that would give them another label."""

from collections.abc import Collection, Iterator
from typing import Any, NamedTuple
from uuid import UUID

from django.db.models import Exists, F, Max, OuterRef, Q, QuerySet, Subquery

from scalewitness.animals.models import IN_ERROR
from scalewitness.animals.queries import animals_of
from scalewitness.calls.models import COUNTS, Attestation, Call
from scalewitness.calls.queries.bearing import known_elsewhere
from scalewitness.domain.sexing.case import Case
from scalewitness.domain.sexing.gauge import case_by
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import entry_at
from scalewitness.people.models import Deceit, Voucher
from scalewitness.standings.models import AdoptedNumbers, AdoptedPolicy, ExaminerRecord, Standing
from scalewitness.standings.queries.assessing import Yardstick, settled_by, yardstick
from scalewitness.standings.queries.evidence import evidence_by_snake
from scalewitness.standings.queries.linkage import starts_of
from scalewitness.standings.queries.logged import before


class Reassessment(NamedTuple):
    """An animal to be reassessed, and the fact, with its kind, that makes it necessary."""

    animal: UUID
    cause: UUID
    kind: str


def due(animals: Collection[UUID] | None = None) -> list[Reassessment]:
    """All such animals, or those among ``animals``, by id; each once. Those that newer numbers
    move are only found among some: for all, see `stated_before`."""
    moved = () if animals is None else _by_numbers(animals)
    measured = (*moved, *_by_record(animals), *_by_policy(animals), *_by_deceit(animals))
    found = {one.animal: one for one in measured}
    return [found[animal] for animal in sorted(found)]


def relabelled(animals: Collection[UUID]) -> list[UUID]:
    """Those of them, by id, that would now be stated under another label than they were."""
    by, found = yardstick(), animals_of(animals)
    stated, counting = before(found), evidence_by_snake(found)
    starts, elsewhere = starts_of(found.values(), by.numbers), known_elsewhere(found)

    def label(animal: UUID) -> str:
        def calls(one: Yardstick) -> Case:
            evidence = counting.get(animal, [])
            species, is_elsewhere = found[animal].species, animal in elsewhere
            return case_by(one, species, evidence, starts[animal], known_elsewhere=is_elsewhere)

        return settled_by(by, stated[animal], calls).standing.label

    return [animal for animal in sorted(stated) if label(animal) != stated[animal].label]


def stated_before(position: int, after: UUID | None, most: int) -> list[UUID]:
    """Animals whose latest standing was stated before that log position, by id: the first so
    many, or those ``after`` one."""
    rows = _of_animals().order_by("animal")
    rows = rows if after is None else rows.filter(animal__gt=after)
    stated = rows.values("animal").annotate(last=Max("position")).filter(last__lt=position)
    return list(stated.values_list("animal", flat=True)[:most])


def behind(animals: Collection[UUID]) -> list[Reassessment]:
    """Those of them that were stated before the numbers now in force."""
    adoption = latest_adoption()
    if adoption is None:
        return []
    standings = _of_animals().filter(animal__in=animals).order_by("animal")
    stated = standings.values("animal").annotate(last=Max("position"))
    rows = stated.filter(last__lt=adoption.position).values_list("animal", flat=True)
    return [Reassessment(animal, adoption.fact, adoption.kind) for animal in rows]


def _of_animals() -> QuerySet[Standing]:
    """Of one registered in error nothing more is stated."""
    return Standing.objects.exclude(animal__ended=IN_ERROR)


def latest_adoption() -> Entry | None:
    """The fact that put the latest numbers in force."""
    latest = AdoptedNumbers.objects.order_by("-position").values_list("position", flat=True)
    position = latest.first()
    return None if position is None else entry_at(position)


def _by_numbers(animals: Collection[UUID]) -> Iterator[Reassessment]:
    older = {one.animal: one for one in behind(animals)}
    if older:
        yield from (older[animal] for animal in relabelled(list(older)))


def _by_policy(animals: Collection[UUID] | None) -> Iterator[Reassessment]:
    policy = AdoptedPolicy.objects.order_by("-position").first()
    entry = entry_at(policy.position) if policy else None
    if entry is None:
        return
    standings = _of_animals().filter(**_among(animals)).order_by()
    stated = standings.values("animal").annotate(last=Max("position"))
    for row in stated.filter(last__lt=entry.position):
        yield Reassessment(row["animal"], entry.fact, entry.kind)


def _by_record(animals: Collection[UUID] | None) -> Iterator[Reassessment]:
    """Of those who made a call that counts."""
    records = ExaminerRecord.objects.filter(examiner=OuterRef("examiner")).order_by("-position")
    standings = Standing.objects.filter(animal=OuterRef("animal")).order_by("-position")
    recorded = Call.objects.filter(examiner__in=ExaminerRecord.objects.values("examiner"))
    counting = recorded.filter(COUNTS, **_among(animals))
    behind = counting.annotate(
        told=Subquery(records.values("position")[:1]),
        stated=Subquery(standings.values("position")[:1]),
        record=Subquery(records.values("pk")[:1]),
    ).filter(told__gt=F("stated"))
    for animal, record in behind.order_by("position").values_list("animal", "record"):
        yield Reassessment(animal, record, "examiner_record_changed")


def _by_deceit(animals: Collection[UUID] | None) -> Iterator[Reassessment]:
    """With a call that counts of somebody found to deceive since, or that they confirmed."""
    found = Deceit.objects.filter(keeper=OuterRef("by"))
    standings = Standing.objects.filter(animal=OuterRef("animal")).order_by("-position")
    deceivers = Deceit.objects.values("keeper")
    counting = Call.objects.filter(COUNTS, by__in=deceivers, **_among(animals))
    behind = counting.annotate(
        told=Subquery(found.values("position")[:1]),
        stated=Subquery(standings.values("position")[:1]),
        deceit=Subquery(found.values("pk")[:1]),
    ).filter(told__gt=F("stated"))
    for animal, deceit in behind.order_by("position").values_list("animal", "deceit"):
        yield Reassessment(animal, deceit, "deceit_found")
    for animal, deceit, _ in _spoken_by_deceivers(animals):
        yield Reassessment(animal, deceit, "deceit_found")


def reports_to_reopen(animal: UUID) -> list[Call]:
    """The animal's calls that somebody confirmed, or sent, who was found to deceive since."""
    calls = {call for _, _, call in _spoken_by_deceivers([animal])}
    return list(Call.objects.filter(pk__in=calls).order_by("position"))


def _spoken_by_deceivers(animals: Collection[UUID] | None) -> Iterator[tuple[UUID, UUID, UUID]]:
    """What confirmed a report, by a deceiver, by an account that a deceiver had confirmed as a
    practice's, or about a deceiver's call, and was not judged anew since: its animal, the deceit,
    and the call."""
    deceivers = Deceit.objects.values("keeper")
    counting = Call.objects.filter(withdrawal=None, set_aside=None, refiled=None, **_among(animals))
    confirmed_by = Voucher.objects.filter(by__in=deceivers).exclude(practice="").values("keeper")
    by_them = Q(by__in=deceivers) | Q(call__by__in=deceivers) | Q(by__in=confirmed_by)
    confirmed = Attestation.objects.filter(by_them, report="confirmed", call__in=counting)
    stated = Voucher.objects.filter(keeper=OuterRef(OuterRef("by"))).exclude(practice="")
    whose = Q(keeper=OuterRef("by")) | Q(keeper=OuterRef("call__by"))
    whose |= Q(keeper__in=stated.values("by"))
    found = Deceit.objects.filter(whose).order_by("-position")
    anew = Attestation.objects.filter(call=OuterRef("call"), kind="report_reopened")
    spoken = confirmed.exclude(by=None).annotate(
        told=Subquery(found.values("position")[:1]), deceit=Subquery(found.values("pk")[:1])
    )
    behind = spoken.filter(~Exists(anew.filter(position__gt=OuterRef("told"))))
    behind = behind.filter(position__lt=F("told")).order_by("position")
    yield from behind.values_list("call__animal", "deceit", "call")


def _among(animals: Collection[UUID] | None) -> dict[str, Any]:
    return {} if animals is None else {"animal__in": animals}
