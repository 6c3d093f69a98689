"""Calls and standings: the writes. Intake calls these, nobody else."""

from typing import Any
from uuid import UUID

import msgspec

from scalewitness.calls.models import (
    AdoptedPolicy,
    ExaminerRecord,
    HeldCall,
    HeldDecision,
    Objection,
    SetAside,
    StatedLinkage,
    Withdrawal,
)
from scalewitness.domain.facts import (
    CallMade,
    CallObjected,
    CallWithdrawn,
    Circumstance,
    ExaminerRecordChanged,
    LateCallDecided,
    LinkageStated,
    PolicyAdopted,
    StandingChanged,
)
from scalewitness.domain.observations import method_of
from scalewitness.ledger.services.inserting import Row, as_json
from scalewitness.ledger.services.writing import Logged


def call_row(fact: Logged[CallMade], known: Circumstance, flags: tuple[str, ...]) -> Row:
    """Of the table of calls; a batch stores its calls together."""
    body = fact.body
    return {
        "id": fact.id,
        "position": fact.position,
        "animal_id": fact.about,
        "by": fact.sender,
        "examiner": UUID(body.reported.who) if body.reported else fact.sender,
        "role": body.reported.role if body.reported else "keeper",
        "method": method_of(body.observed),
        "conclusion": body.conclusion,
        "examined_at": fact.at,
        "received_at": fact.received_at,
        "visit": UUID(body.visit) if body.visit else None,
        "stage": known.stage,
        "identity": known.identity,
        "blind": known.blind,
        "interested": known.interested,
        "anchored_to": known.anchored_to,
        "flags": as_json(flags),
        "body": as_json(body),
    }


def store_withdrawal(fact: Logged[CallWithdrawn]) -> None:
    Withdrawal.objects.create(
        id=fact.id, position=fact.position, call_id=UUID(fact.body.call), at=fact.at
    )


def store_objection(fact: Logged[CallObjected]) -> None:
    Objection.objects.create(
        id=fact.id,
        position=fact.position,
        call_id=UUID(fact.body.call),
        by=fact.sender,
        ground=fact.body.ground,
        at=fact.at,
    )


def set_aside(call: UUID, finding: UUID, position: int) -> None:
    SetAside.objects.create(call_id=call, finding=finding, position=position)


def store_linkage(fact: Logged[LinkageStated]) -> None:
    StatedLinkage.objects.create(
        id=fact.id,
        position=fact.position,
        animal_id=fact.about,
        by=fact.sender,
        at=fact.at,
        body=msgspec.to_builtins(fact.body),
    )


def standing_row(fact: Logged[StandingChanged]) -> Row:
    """Of the table of standings; a batch stores its standings together."""
    body = fact.body
    return {
        "id": fact.id,
        "position": fact.position,
        "animal_id": fact.about,
        "label": body.label,
        "p_male": body.p_male,
        "p_male_pessimistic": body.p_male_pessimistic,
        "parameters": body.parameters,
        "policy": body.policy,
        "examiner_records": body.examiner_records,
    }


def store_policy(fact: Logged[PolicyAdopted]) -> AdoptedPolicy:
    body = fact.body
    return AdoptedPolicy.objects.create(
        id=fact.about,
        position=fact.position,
        version=body.version,
        parameters=body.parameters,
        thresholds=body.thresholds,
    )


def store_examiner_record(fact: Logged[ExaminerRecordChanged]) -> ExaminerRecord:
    return ExaminerRecord.objects.create(
        id=fact.id,
        position=fact.position,
        examiner=fact.about,
        role=fact.body.role,
        counts=msgspec.to_builtins(fact.body.counts),
    )


def hold_call(
    *, submission: dict[str, Any], by: UUID, device: UUID | None, animal: UUID, **more: Any
) -> HeldCall:
    """Keep a late call whole, for the host to decide on; nothing is dropped."""
    return HeldCall.objects.create(
        id=UUID(submission["id"]),
        animal_id=animal,
        by=by,
        device=device,
        submission=submission,
        **more,
    )


def store_decision(fact: Logged[LateCallDecided]) -> None:
    HeldDecision.objects.create(
        held_id=UUID(fact.body.held), position=fact.position, admitted=fact.body.admitted
    )
