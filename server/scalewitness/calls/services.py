"""Calls and standings: the writes. Intake calls these, nobody else."""

from typing import Any
from uuid import UUID

from scalewitness.calls.models import (
    Attestation,
    Call,
    HeldCall,
    HeldDecision,
    Objection,
    PhotoComparison,
    Seal,
    SetAside,
    Withdrawal,
)
from scalewitness.domain.facts import (
    CallHeld,
    CallMade,
    CallObjected,
    CallRefiled,
    CallWithdrawn,
    Circumstance,
    DocumentRead,
    LateCallDecided,
    PhotosCompared,
    ReportAnswered,
    ReportReopened,
    ReportStands,
    WitnessStated,
    WitnessWithdrawn,
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
        "footing": known.footing or "",
        "waits": known.waits,
        "one_with": known.one_with or "",
        "flags": as_json(flags),
        "body": as_json(body),
    }


def store_refiled(fact: Logged[CallRefiled], call: Call, known: Circumstance) -> None:
    """The same check once more, on the animal it was of. It opens nothing of a visit."""
    Call.objects.create(
        id=fact.id,
        position=fact.position,
        animal_id=fact.about,
        by=fact.sender,
        examiner=call.examiner,
        role=call.role,
        method=call.method,
        conclusion=call.conclusion,
        examined_at=call.examined_at,
        received_at=fact.received_at,
        stage=known.stage,
        identity=known.identity,
        blind=known.blind,
        interested=known.interested,
        anchored_to=known.anchored_to,
        footing=known.footing or "",
        waits=known.waits,
        one_with=known.one_with or "",
        body=call.body,
        refiles=call,
    )


def store_withdrawal(fact: Logged[CallWithdrawn]) -> None:
    Withdrawal.objects.create(
        id=fact.id, position=fact.position, call_id=UUID(fact.body.call), at=fact.at
    )


def row_of_standing(call: UUID, position: int) -> Row:
    """Of what a standing says of a call: that its wait ended, or who made it."""
    return {"call_id": call, "position": position}


def store_objection(fact: Logged[CallObjected]) -> None:
    Objection.objects.create(
        id=fact.id,
        position=fact.position,
        call_id=UUID(fact.body.call),
        by=fact.sender,
        ground=fact.body.ground,
        at=fact.at,
    )


def store_attestation(
    fact: Logged[ReportAnswered | DocumentRead | WitnessStated | WitnessWithdrawn | ReportReopened],
    kind: str,
    stands: ReportStands,
) -> None:
    """``stands``: what the record makes of the call from here on."""
    Attestation.objects.create(
        id=fact.id,
        position=fact.position,
        call_id=UUID(fact.body.call),
        by=fact.by,
        kind=kind,
        answer=fact.body.answer if isinstance(fact.body, ReportAnswered) else None,
        young=_young(fact.body),
        report=stands.report,
        footing=stands.footing or "",
        at=fact.at,
    )


def _young(body: object) -> UUID | None:
    return UUID(body.young) if isinstance(body, WitnessStated) and body.young else None


def store_comparison(fact: Logged[PhotosCompared], stands: str) -> None:
    PhotoComparison.objects.create(
        id=fact.id,
        position=fact.position,
        call_id=UUID(fact.body.call),
        by=fact.sender,
        photo=UUID(fact.body.photo),
        earlier=UUID(fact.body.earlier),
        answer=fact.body.answer,
        stands=stands,
        at=fact.at,
    )


def set_aside(call: UUID, finding: UUID, position: int) -> None:
    SetAside.objects.create(call_id=call, finding=finding, position=position)


def hold_call(
    *, submission: dict[str, Any], by: UUID, device: UUID | None, animal: UUID, **more: Any
) -> HeldCall:
    """Keep a late call or note whole, for the host to decide on; nothing is dropped."""
    return HeldCall.objects.create(
        id=UUID(submission["id"]),
        animal_id=animal,
        by=by,
        device=device,
        submission=submission,
        **more,
    )


def store_seal(fact: Logged[CallHeld], salt: bytes) -> None:
    Seal.objects.create(held_id=UUID(fact.body.held), position=fact.position, salt=salt)


def store_decision(fact: Logged[LateCallDecided]) -> None:
    HeldDecision.objects.create(
        held_id=UUID(fact.body.held), position=fact.position, admitted=fact.body.admitted
    )
