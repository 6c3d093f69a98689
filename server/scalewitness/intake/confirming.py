"""What stands behind a report that others spoke of; judged anew where somebody of them, or who
sent it, is found to deceive."""

from collections.abc import Collection
from typing import cast
from uuid import UUID

from scalewitness.calls.models import Attestation, Call
from scalewitness.calls.queries.reports import STATEMENTS, attested, report_of, sent_as
from scalewitness.calls.services import store_attestation
from scalewitness.domain.facts import Footing, ReportReopened, ReportStands
from scalewitness.domain.reports import Remark, Spoken, after_all, as_spoken
from scalewitness.intake.batch import Batch
from scalewitness.people.queries import address_of, deceivers_among, named_with
from scalewitness.sales.queries.practices import is_proved
from scalewitness.standings.queries.due import Reassessment, reports_to_reopen
from scalewitness.standings.queries.footing import footing_of


def without(call: Call, keeper: UUID) -> Spoken:
    """What the call is without the keeper's statements."""
    left, before = [], sent_as(call)
    for one in attested(call):
        if one.by != keeper or one.kind not in STATEMENTS:
            left.append(_as_remark(one, before))
        before = cast(Spoken, one.report)
    return as_spoken(after_all(sent_as(call), left))


def footing_left(call: Call, but: Collection[UUID | None] = ()) -> Footing | None:
    """The best behind what was stated of the call, ``but`` by these, by deceivers and by whoever
    counts as one with its sender; of a deceiver's call no reading of a document counts, as that
    came from them. Who first gave it a footing keeps the one of then; that of others is asked now.
    None: from before that was asked."""
    stated = attested(call)
    lost = deceivers_among({call.by, *(one.by for one in stated if one.by)})
    same = named_with(call.by).get(call.animal_id, set())
    before, report = "none", sent_as(call)
    for one in stated:
        own = _own(one, before, report)
        before, report = one.footing, cast(Spoken, one.report)
        forged = one.kind == "document_read" and call.by in lost
        if own != "none" and not (forged or one.by in {*lost, *same, *but}):
            return own
    return "none"


def _own(one: Attestation, before: str, report: str) -> Footing | None:
    if one.kind == "report_answered":
        remark = _as_remark(one, report)
        proved = remark == Remark("confirmed", proved=True)
        still = proved and is_proved(address_of(one.call.examiner), one.by, one.call)
        return "practitioner" if still else "none"
    if before == "none" or report != "confirmed":
        return cast(Footing | None, one.footing or None)
    return footing_of(one.by)


def _as_remark(one: Attestation, before: str) -> Remark:
    """Whether an answer counted by itself shows in what it changed; where somebody had confirmed
    the call before it, in whether the operator has their address."""
    if one.kind != "report_answered":
        return Remark(None)
    proved = one.report == one.answer
    if proved and one.answer == before == "confirmed":
        proved = is_proved(address_of(one.call.examiner), one.by, one.call)
    return Remark("denied" if one.answer == "denied" else "confirmed", proved)


def touch_due(one: Reassessment, batch: Batch) -> None:
    """Have the animal assessed anew, for what makes it necessary."""
    for call in reports_to_reopen(one.animal) if one.kind == "deceit_found" else ():
        reopen(call, one.cause, one.kind, batch)
    batch.touch(one.animal, one.cause, one.kind)


def reopen(call: Call, cause: UUID, kind: str, batch: Batch) -> None:
    """On whose word it is stays as it is; what that verifies is asked anew."""
    report = as_spoken(report_of(call))
    footing = footing_left(call) if report == "confirmed" else None
    stands = ReportStands(call=str(call.pk), report=report, footing=footing)
    body = ReportReopened(call=str(call.pk), cause=str(cause))
    logged = batch.state("report_reopened", call.animal_id, body)
    store_attestation(logged, "report_reopened", stands)
    batch.known.forget()
    batch.touch(call.animal_id, cause, kind, report=stands)
