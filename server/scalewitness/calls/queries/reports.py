"""Calls that were reported of others, as those others may see them."""

from collections.abc import Iterable
from datetime import datetime
from typing import cast
from uuid import UUID

from scalewitness.calls.models import Attestation, Call
from scalewitness.calls.queries.visibility import sights_of
from scalewitness.domain.sexing.evidence import Report, as_sent
from scalewitness.people.queries import address_of, has_proved, practitioners_at


def report_of(call: Call, at: int | None = None) -> Report:
    """Whose word it is, by what was said of it last; at log position ``at``, now when None."""
    attested = [one for one in call.attestations.all() if at is None or one.position <= at]
    if attested:
        return cast(Report, max(attested, key=lambda one: one.position).report)
    return as_sent(call.method, reported=call.role != "keeper", interested=call.interested)


def last_answer(call: Call) -> Attestation | None:
    """What whom it names answered last."""
    answers = [one for one in call.attestations.all() if one.kind == "report_answered"]
    return max(answers, key=lambda one: one.position, default=None)


def spoke_of(call: Call, keeper: UUID, kind: str) -> bool:
    """Whether the keeper stated that of the call before."""
    return call.attestations.filter(by=keeper, kind=kind).exists()


def reported_of(keeper: UUID, now: datetime) -> list[Call]:
    """Calls that others sent in the keeper's name, newest first: whoever they name is asked at
    an address that the keeper proved. Not of animals that they are still to check blind."""
    named = practitioners_at(keeper).values_list("practitioner", flat=True).distinct()
    return reported([one for one in named if _is_asked(keeper, one)], keeper, now)


def reported(practitioners: Iterable[UUID], reader: UUID | None, now: datetime) -> list[Call]:
    """Calls that were sent in these names, as the ``reader`` may see them; None: a person who is
    no keeper here."""
    rows = Call.objects.filter(examiner__in=list(practitioners)).exclude(role="keeper")
    listed = rows.select_related("animal").prefetch_related("attestations").order_by("-position")
    if reader is None:
        return list(listed)
    sights = sights_of(reader, {call.animal_id for call in listed}, now)
    return [call for call in listed if sights.get(call.animal_id) != "blind"]


def _is_asked(keeper: UUID, practitioner: UUID) -> bool:
    address = address_of(practitioner)
    return address is not None and has_proved(keeper, address.email)
