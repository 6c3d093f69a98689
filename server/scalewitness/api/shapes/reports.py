"""Calls reported in somebody's name, as they are shown to whom they name."""

from collections.abc import Iterable
from datetime import datetime
from typing import Annotated, get_args
from uuid import UUID

import msgspec
from msgspec import Struct

from scalewitness.api.shapes import words
from scalewitness.api.shapes.people import Person, named
from scalewitness.calls.models import Attestation, Call
from scalewitness.calls.queries.reports import last_answer, report_of
from scalewitness.domain.facts import CallMade, Identification
from scalewitness.domain.observations import Observation
from scalewitness.domain.sexing.evidence import Report
from scalewitness.people.queries import names_of
from scalewitness.sales.queries.practices import answers_that_count

ReportWord = Annotated[str, words.one_of(*get_args(Report))]
Answer = Annotated[str, words.one_of("confirmed", "denied")]
Kind = Annotated[
    str, words.one_of("report_answered", "document_read", "witness_stated", "witness_withdrawn")
]


class AttestationShown(Struct, frozen=True):
    """What somebody other than the sender said of a call. ``answer``: of whom it names.
    ``young``: the registered one that a witness saw, who did not see them with the animal.
    ``report``: what the record made of the call from then on."""

    id: UUID
    position: int
    kind: Kind
    by: Person
    answer: Answer | None
    young: UUID | None
    report: ReportWord
    at: datetime
    note: str | None


class ReportShown(Struct, frozen=True):
    """What was said in your name. ``confirms``: whether your answer is more than the sender's
    word, since the operator entered your address from what you publish. ``answer``: your last."""

    call: UUID
    animal: UUID
    position: int
    species: str
    sent_by: Person
    role: words.Role
    method: words.Method
    observed: Observation
    conclusion: words.Conclusion
    identified: Identification
    examined_at: datetime
    document: str | None
    report: ReportWord
    answer: Answer | None
    confirms: bool


class Reports(Struct, frozen=True):
    items: list[ReportShown]


def reports(calls: Iterable[Call], keeper: UUID) -> list[ReportShown]:
    """As to the account that would answer."""
    listed = list(calls)
    names = names_of(call.by for call in listed)
    counts = answers_that_count(listed, keeper)
    return [_report(call, names, confirms=call.pk in counts) for call in listed]


def _report(call: Call, names: dict[UUID, str], *, confirms: bool) -> ReportShown:
    made, answer = msgspec.convert(call.body, CallMade), last_answer(call)
    return ReportShown(
        call=call.pk,
        animal=call.animal_id,
        position=call.position,
        species=call.animal.species,
        sent_by=named(call.by, names),
        role=call.role,
        method=call.method,
        observed=made.observed,
        conclusion=made.conclusion,
        identified=made.identified,
        examined_at=call.examined_at,
        document=made.document,
        report=report_of(call),
        answer=answer.answer if answer else None,
        confirms=confirms,
    )


def attestation(
    one: Attestation, by: UUID, names: dict[UUID, str], note: str | None
) -> AttestationShown:
    return AttestationShown(
        id=one.pk,
        position=one.position,
        kind=one.kind,
        by=named(by, names),
        answer=one.answer,
        young=one.young,
        report=one.report,
        at=one.at,
        note=note,
    )
