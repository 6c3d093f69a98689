"""Contrary calls by somebody whose word has no footing yet, on an animal whose sex is verified.

One fresh account must not bring an honest animal down. Such a call is on record at once and holds
open sales; it counts when a second examiner says the same, when nobody with a footing has answered
it for thirty days, or when the sex falls for another reason.
"""

from datetime import datetime, timedelta
from typing import Final
from uuid import UUID

from django.db.models import QuerySet

from scalewitness.calls.models import COUNTS, WAITS, Call
from scalewitness.domain.consequences import verified_sex
from scalewitness.domain.observations import Conclusion
from scalewitness.domain.sexing.evidence import Report, other
from scalewitness.intake.batch import Batch
from scalewitness.intake.known import Known, Subject
from scalewitness.intake.reassessing import each_in_turns
from scalewitness.standings.queries.evidence import evidence_of, waiting_calls
from scalewitness.standings.queries.footing import footed

ANSWERED_WITHIN: Final = timedelta(days=30)
"""So long the keeper has to have the animal checked again: time for a visit (our judgement)."""


def contradicts(subject: Subject, conclusion: Conclusion) -> bool:
    """Whether such a call is contrary to the animal's verified sex."""
    held = verified_sex(subject.label)
    return held is not None and conclusion == other(held)


def waits(subject: Subject, conclusion: Conclusion, known: Known, report: Report) -> bool:
    """Whether it is left out for now: contrary, without a footing, and nobody's but this person's.
    What somebody reports of another is their own word until the other confirms it, so it neither
    answers a call that waits nor is answered as one."""
    if known.footing != "none" or not contradicts(subject, conclusion):
        return False
    if not answers(report):
        return True
    voices = (one for one in waiting_calls(subject.animal.pk) if answers(evidence_of(one).report))
    return {one.by for one in voices} <= {known.person, *known.same_person}


def answers(report: Report) -> bool:
    """Whether it is its examiner's own word, or confirmed: only such ends the wait of another."""
    return report in {"own", "confirmed"}


def count_unanswered(now: datetime) -> int:
    """Have those count that nobody answered in time; on how many animals. One that fails keeps no
    other waiting; its fault is raised when those are done."""
    late = _left_out().filter(received_at__lte=now - ANSWERED_WITHIN).order_by("position")
    due = {call.animal_id: call for call in late if not _is_answered(call)}

    def count(animal: UUID, batch: Batch) -> None:
        call = due[animal]
        if _left_out().filter(pk=call.pk).exists() and not _is_answered(call):
            batch.touch(animal, call.pk, "call_made", answered=True)

    fault = each_in_turns(sorted(due), now, count)
    if fault is not None:
        raise fault
    return len(due)


def _left_out() -> QuerySet[Call]:
    return Call.objects.filter(WAITS, withdrawal=None, set_aside=None, refiled=None)


def _is_answered(call: Call) -> bool:
    """Whether somebody with a footing has checked it since without knowing, and found otherwise."""
    since = Call.objects.filter(COUNTS, animal=call.animal_id, position__gt=call.position)
    able = footed(since.filter(blind=True, interested=False))
    return able.exclude(conclusion__in=(call.conclusion, "undetermined")).exists()
