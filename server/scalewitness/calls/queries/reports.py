"""Calls that were reported of others, as those others may see them."""

from collections.abc import Iterable
from datetime import datetime
from typing import cast
from uuid import UUID

from scalewitness.calls.models import Attestation, Call
from scalewitness.calls.queries.visibility import kept_from, reader_of
from scalewitness.domain.sexing.evidence import Compared, Report, as_sent
from scalewitness.people.queries import address_of, has_proved, practitioners_at

STATEMENTS = ("document_read", "witness_stated")
"""What somebody without a share in a call states of it."""


def report_of(call: Call, at: int | None = None) -> Report:
    """Whose word it is, by what was said of it last; at log position ``at``, now when None."""
    so_far = [one for one in call.attestations.all() if at is None or one.position <= at]
    if so_far:
        return cast(Report, max(so_far, key=lambda one: one.position).report)
    return sent_as(call)


def sent_as(call: Call) -> Report:
    """Whose word it was before anybody spoke of it."""
    return as_sent(call.method, reported=call.role != "keeper", interested=call.interested)


def compared_of(call: Call, at: int | None = None) -> Compared | None:
    """What its photos say, taken together; at log position ``at``, now when None."""
    made = [one for one in call.comparisons.all() if at is None or one.position <= at]
    last = max(made, key=lambda one: one.position, default=None)
    return cast(Compared, last.stands) if last else None


def last_answer(call: Call) -> Attestation | None:
    """What whom it names answered last."""
    answers = [one for one in call.attestations.all() if one.kind == "report_answered"]
    return max(answers, key=lambda one: one.position, default=None)


def attested(call: Call) -> list[Attestation]:
    """What others said of it and did not withdraw, in order of the log."""
    every = sorted(call.attestations.all(), key=lambda one: one.position)
    withdrawn = {one.by: one.position for one in every if one.kind == "witness_withdrawn"}
    return [
        one
        for one in every
        if one.kind == "report_answered"
        or (one.kind in STATEMENTS and one.position > withdrawn.get(one.by, -1))
    ]


def stated_by(call: Call, keeper: UUID) -> list[Attestation]:
    """What the keeper stated of it as one without a share in it, and did not withdraw."""
    return [one for one in attested(call) if one.by == keeper and one.kind in STATEMENTS]


def reported_of(keeper: UUID, now: datetime) -> list[Call]:
    """Calls that others sent in the keeper's name, newest first: whoever they name is asked at
    an address that the keeper proved. Not of animals that they are still to check blind, in their
    sight just now or not."""
    named = practitioners_at(keeper).values_list("practitioner", flat=True).distinct()
    return reported([one for one in named if _is_asked(keeper, one)], keeper, now)


def reported(practitioners: Iterable[UUID], reader: UUID | None, now: datetime) -> list[Call]:
    """Calls that were sent in these names, as the ``reader`` may see them; None: a person who is
    no keeper here."""
    own = Call.objects.filter(examiner__in=list(practitioners), refiled=None)
    rows = own.exclude(role="keeper")
    listed = rows.select_related("animal").prefetch_related("attestations").order_by("-position")
    if reader is None:
        return list(listed)
    shut = kept_from(reader_of(reader, now)) if listed else set()
    return [call for call in listed if call.animal_id not in shut]


def _is_asked(keeper: UUID, practitioner: UUID) -> bool:
    address = address_of(practitioner)
    return address is not None and has_proved(keeper, address.email)
