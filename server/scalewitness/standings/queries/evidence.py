"""From rows to the values that `domain.sexing` weighs."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any
from uuid import UUID

import msgspec
from django.db.models import Q, QuerySet, TextField
from django.db.models.functions import Cast

from scalewitness.calls.models import Call
from scalewitness.domain.facts import CallMade, Circumstance
from scalewitness.domain.sexing.evidence import Evidence
from scalewitness.ledger.queries.prepared import Prepared, any_of


def counting_calls(animal: UUID) -> list[Call]:
    """The animal's calls that count, in log order: neither withdrawn nor set aside."""
    return list(
        Call.objects.filter(animal=animal, withdrawal=None, set_aside=None).order_by("position")
    )


def evidence_by_animal(animals: Iterable[UUID]) -> dict[UUID, list[Evidence]]:
    """What counts of each animal, in log order; animals without any are absent."""
    found: dict[UUID, list[Evidence]] = {}
    for animal, by, at, position, body, *known in COUNTING.ask(animals=list(animals)):
        made = _MADE.decode(body)
        evidence = as_evidence(made, Circumstance(*known), sender=by, at=at, position=position)
        found.setdefault(animal, []).append(evidence)
    return found


CIRCUMSTANCE = ("stage", "blind", "interested", "identity", "anchored_to")
"""The columns of a call that hold its circumstance, as `Circumstance` has them after the call."""
_MADE = msgspec.json.Decoder(CallMade)


def _counting(animals: Any) -> "QuerySet[Call, Any]":
    rows = Call.objects.filter(withdrawal=None, set_aside=None).order_by("position")
    # As text: the typed body is read from it at once, and evidence has ids as text.
    call, by, body = (Cast(one, TextField()) for one in ("id", "by", "body"))
    columns = ("animal", by, "examined_at", "position", body, call, *CIRCUMSTANCE)
    return any_of(rows, '"calls_call"."animal_id"', animals).values_list(*columns)


COUNTING = Prepared(_counting, animals=(UUID(int=1),))


def counting_calls_at(animal: UUID, position: int) -> list[Call]:
    """The animal's calls that counted just after the fact at ``position``, in log order."""
    withdrawn = Q(withdrawal__position__lte=position)
    aside = Q(set_aside__position__lte=position)
    made = Call.objects.filter(animal=animal, position__lte=position)
    return list(made.exclude(withdrawn).exclude(aside).order_by("position"))


def evidence_of(call: Call) -> Evidence:
    return as_evidence(
        msgspec.convert(call.body, CallMade),
        circumstance_of(call),
        sender=str(call.by),
        at=call.examined_at,
        position=call.position,
    )


def circumstance_of(call: Call) -> Circumstance:
    known: dict[str, Any] = {
        "call": str(call.pk),
        "stage": call.stage,
        "blind": call.blind,
        "interested": call.interested,
        "identity": call.identity,
        "anchored_to": call.anchored_to,
    }
    return msgspec.convert(known, Circumstance)


def as_evidence(
    body: CallMade, known: Circumstance, *, sender: str, at: datetime, position: int
) -> Evidence:
    """The same value whether it comes from a row or from the log alone."""
    reported = body.reported
    return Evidence(
        call=known.call,
        examiner=reported.who if reported else sender,
        role=reported.role if reported else "keeper",
        at=round(at.timestamp() * 1000),
        position=position,
        stage=known.stage,
        conclusion=body.conclusion,
        sureness=body.sureness,
        observed=body.observed,
        identity=known.identity,
        blind=known.blind,
        interested=known.interested,
        anchored_to=known.anchored_to,
    )
