"""From rows to the values that `domain.sexing` weighs."""

from collections.abc import Collection, Iterable, Mapping, Set
from typing import TYPE_CHECKING, Any, TypeAlias, TypedDict
from uuid import UUID

import msgspec
from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery, TextField
from django.db.models.functions import Cast

from scalewitness.animals.queries.joining import joined, same_snake
from scalewitness.calls.models import (
    COUNTS,
    ENDS,
    WAITS,
    Attestation,
    Call,
    Joined,
    Objection,
    Parted,
    PhotoComparison,
)
from scalewitness.domain.facts import CallMade, Circumstance
from scalewitness.domain.sexing.evidence import Compared, Evidence, Report
from scalewitness.domain.sexing.so_far import as_evidence
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import note_beside
from scalewitness.ledger.queries.prepared import Prepared, any_of
from scalewitness.people.models import Deceit


class Stated(TypedDict):
    report: Report | None
    report_footing: str | None
    deceived: bool
    is_parted: bool
    is_joined: bool
    compared: Compared | None


class Entered(Stated):
    leaf: bytes
    found_out: bool
    note: str | None
    note_salt: bytes | None
    withdrawal_note: str | None
    has_objections: bool
    has_attestations: bool
    has_comparisons: bool


if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations

    StatedCall: TypeAlias = WithAnnotations[Call, Stated]
    """A call with what the record last stated of it as a report, and made of its photos; None
    where nobody spoke of it."""
    CallAsMade: TypeAlias = WithAnnotations[Call, Entered]
    """The same with the ``leaf`` of its entry, the notes that are kept, whether a finding names
    whoever sent it, and what others said beside it."""
else:
    StatedCall = CallAsMade = Call


def with_report(calls: QuerySet[Call], at: int | None = None) -> QuerySet[StatedCall]:
    """As of log position ``at``, now when None."""
    return calls.annotate(
        report=_report(at),
        report_footing=_report(at, "footing"),
        deceived=_deceived(at),
        is_parted=_parted(at),
        is_joined=_joined(at),
        compared=_compared(at),
    )


def _deceived(at: int | None = None) -> Exists:
    """Whether a finding says that whoever sent it deceived."""
    found = Deceit.objects.filter(keeper=OuterRef("by"))
    return Exists(found if at is None else found.filter(position__lte=at))


def _parted(at: int | None = None) -> Exists:
    """Whether its examiner, who counted as one with another, counts for themselves again."""
    found = Parted.objects.filter(call=OuterRef("pk"))
    return Exists(found if at is None else found.filter(position__lte=at))


def _joined(at: int | None = None) -> Exists:
    """Whether its examiner counts as one with another, since a finding says so."""
    found = Joined.objects.filter(call=OuterRef("pk"))
    return Exists(found if at is None else found.filter(position__lte=at))


def _report(at: int | None = None, column: str = "report") -> Subquery:
    attested = Attestation.objects.filter(call=OuterRef("pk")).order_by("-position")
    attested = attested if at is None else attested.filter(position__lte=at)
    return Subquery(attested.values(column)[:1])


def _compared(at: int | None = None) -> Subquery:
    made = PhotoComparison.objects.filter(call=OuterRef("pk")).order_by("-position")
    made = made if at is None else made.filter(position__lte=at)
    return Subquery(made.values("stands")[:1])


def counting_calls(animal: UUID) -> list[StatedCall]:
    """The record's own calls that count, in log order: nothing took them out of the count."""
    return list(with_report(counting_at().filter(animal=animal)))


def calls_on(
    same: Collection[UUID], at: int | None = None, shown: int | None = None
) -> list[CallAsMade]:
    """Every call on records that are known to be of one snake, in log order, with what took it out
    of the count: as a report as of log position ``at``; ``found_out`` as of ``shown``, now where
    either is None."""
    leaves = Entry.objects.filter(position=OuterRef("position")).values("leaf")
    rows = with_report(Call.objects.filter(animal__in=same), at).select_related(*ENDS, "wait_ended")
    made = rows.annotate(
        leaf=Subquery(leaves),
        found_out=_deceived(shown),
        note=note_beside("pk"),
        note_salt=note_beside("pk", "salt"),
        withdrawal_note=note_beside("withdrawal__pk"),
        has_objections=_beside(Objection.objects.all()),
        has_attestations=_beside(Attestation.objects.all()),
        has_comparisons=_beside(PhotoComparison.objects.all()),
    )
    return list(made.order_by("position"))


def _beside(statements: QuerySet[Any]) -> Exists:
    return Exists(statements.filter(call=OuterRef("pk")))


def counted_at(call: Call, at: int | None) -> bool:
    """As `counting_at` has it, of a call that was read with what ended it."""
    if at is None:
        return call.counts
    waits = call.waits and not _by(call, "wait_ended", at)
    return call.position <= at and not waits and not _ended(call, at)


def waited_at(call: Call, at: int | None) -> bool:
    """Whether it contradicted a verified sex and waited for an answer just after the fact at that
    log position, now when None."""
    if at is None:
        return call.waiting
    waits = call.waits and not _by(call, "wait_ended", at)
    return call.position <= at and waits and not _ended(call, at)


def _ended(call: Call, at: int) -> bool:
    return any(_by(call, end, at) for end in ENDS)


def _by(call: Call, end: str, at: int) -> bool:
    return hasattr(call, end) and getattr(call, end).position <= at


def evidence_by_snake(
    animals: Iterable[UUID], same: Mapping[UUID, Set[UUID]] | None = None
) -> dict[UUID, list[Evidence]]:
    """What counts of each animal, on its record and on those that it was joined with, in log order;
    animals without any are absent. ``same``: as :func:`joined` has it, where that is known."""
    wanted = list(animals)
    others = joined(wanted) if same is None else same
    if not others:
        return evidence_by_animal(wanted)
    own = evidence_by_animal({*wanted, *(one for same in others.values() for one in same)})
    found = {}
    for animal in wanted:
        calls = [call for one in (animal, *others.get(animal, ())) for call in own.get(one, ())]
        if calls:
            found[animal] = sorted(calls, key=lambda call: call.position)
    return found


def evidence_by_animal(animals: Iterable[UUID]) -> dict[UUID, list[Evidence]]:
    """What counts of each record alone, in log order; animals without any are absent."""
    found: dict[UUID, list[Evidence]] = {}
    rows = COUNTING.ask(animals=list(animals))
    for animal, by, at, position, body, *row in rows:
        since, known = row[: len(SINCE)], row[len(SINCE) :]
        made, more = _MADE.decode(body), {"at": at, "position": position}
        more |= zip(SINCE, since, strict=True)
        known[-1] = known[-1] or None
        evidence = as_evidence(made, Circumstance(*known), sender=by, **more)
        found.setdefault(animal, []).append(evidence)
    return found


CIRCUMSTANCE = (
    "stage",
    "blind",
    "interested",
    "identity",
    "anchored_to",
    "footing",
    "waits",
    "one_with",
)
"""The columns of a call that hold its circumstance, as `Circumstance` has them after the call."""
SINCE = ("report", "report_footing", "deceived", "parted", "joined", "compared")
"""What was said of a call since, as `as_evidence` has it and in the order of the columns."""
_MADE = msgspec.json.Decoder(CallMade)


def _counting(animals: Any) -> "QuerySet[Call, Any]":
    # As text: the typed body is read from it at once, and evidence has ids as text.
    call, by, body = (Cast(one, TextField()) for one in ("id", "by", "body"))
    columns = (
        "animal",
        by,
        "examined_at",
        "position",
        body,
        _report(),
        _report(column="footing"),
        _deceived(),
        _parted(),
        _joined(),
        _compared(),
        call,
        *CIRCUMSTANCE,
    )
    return any_of(counting_at(), '"calls_call"."animal_id"', animals).values_list(*columns)


COUNTING = Prepared(_counting, animals=(UUID(int=1),))


def counting_at(position: int | None = None) -> QuerySet[Call]:
    """All calls that counted just after the fact at ``position``, now when None, in log order."""
    if position is None:
        return Call.objects.filter(COUNTS).order_by("position")
    withdrawn = Q(withdrawal__position__lte=position)
    aside = Q(set_aside__position__lte=position)
    refiled = Q(refiled__position__lte=position)
    ended = Q(wait_ended__position__lte=position)
    made = Call.objects.filter(Q(waits=False) | ended, position__lte=position)
    return made.exclude(withdrawn).exclude(aside).exclude(refiled).order_by("position")


def waiting_calls(animal: UUID) -> list[StatedCall]:
    """Newcomers' calls that contradict its verified sex and wait for an answer, in log order."""
    waiting = Call.objects.filter(WAITS, **dict.fromkeys(ENDS), animal__in=same_snake(animal))
    return list(with_report(waiting).order_by("position"))


def evidence_of(call: StatedCall) -> Evidence:
    return as_evidence(
        msgspec.convert(call.body, CallMade),
        circumstance_of(call),
        sender=str(call.by),
        at=call.examined_at,
        position=call.position,
        report=call.report,
        report_footing=call.report_footing,
        deceived=call.deceived,
        parted=call.is_parted,
        joined=call.is_joined,
        compared=call.compared,
    )


def circumstance_of(call: Call) -> Circumstance:
    known: dict[str, Any] = {
        "call": str(call.pk),
        "stage": call.stage,
        "blind": call.blind,
        "interested": call.interested,
        "identity": call.identity,
        "anchored_to": call.anchored_to,
        "footing": call.footing or None,
        "waits": call.waits,
        "one_with": call.one_with or None,
    }
    return msgspec.convert(known, Circumstance)
