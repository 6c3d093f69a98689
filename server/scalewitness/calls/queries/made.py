"""Calls as they were made."""

from typing import cast
from uuid import UUID

from scalewitness.calls.models import Call
from scalewitness.domain.sexing.evidence import Report, as_sent


def all_calls(animal: UUID) -> list[Call]:
    """Every call on the animal in log order, withdrawn and set-aside ones included."""
    return list(
        Call.objects.filter(animal=animal)
        .select_related("withdrawal", "set_aside")
        .prefetch_related("objections")
        .order_by("position")
    )


def call_of(call: UUID) -> Call | None:
    return Call.objects.select_related("animal__collection").filter(pk=call).first()


def report_of(call: Call) -> Report:
    """Whose word it is, by what was said of it last."""
    last = call.attestations.order_by("-position").first()
    if last is not None:
        return cast(Report, last.report)
    return as_sent(call.method, reported=call.role != "keeper", interested=call.interested)


def spoke_of(call: Call, keeper: UUID, kind: str) -> bool:
    """Whether the keeper stated that of the call before."""
    return call.attestations.filter(by=keeper, kind=kind).exists()


def calls_on_visit(visit: UUID, by: UUID) -> list[Call]:
    """The calls someone sent on a visit, in log order."""
    return list(Call.objects.filter(visit=visit, by=by).order_by("position"))
