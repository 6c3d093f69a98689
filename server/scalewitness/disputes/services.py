"""Disputes: the writes. Intake calls these, nobody else."""

from uuid import UUID

from scalewitness.calls.services import set_aside
from scalewitness.disputes.models import Dispute, Finding, FindingAnswer, Statement
from scalewitness.domain.facts import (
    DisputeOpened,
    FindingAnswered,
    FindingRecorded,
    StatementMade,
)
from scalewitness.ledger.services.writing import Logged


def store_dispute(fact: Logged[DisputeOpened]) -> Dispute:
    body = fact.body
    return Dispute.objects.create(
        id=fact.about,
        position=fact.position,
        animal_id=UUID(body.animal),
        sale_id=UUID(body.sale) if body.sale else None,
        ground=body.ground,
        cause=UUID(body.cause) if body.cause else None,
        by=fact.by,
        opened_at=fact.received_at,
    )


def store_statement(fact: Logged[StatementMade]) -> None:
    Statement.objects.create(
        id=fact.id,
        position=fact.position,
        dispute_id=fact.about,
        by=fact.sender,
        at=fact.received_at,
    )


def store_finding(fact: Logged[FindingRecorded]) -> Finding:
    body = fact.body
    finding = Finding.objects.create(
        id=fact.id,
        position=fact.position,
        dispute_id=fact.about,
        by=fact.sender,
        outcome=body.outcome,
        remedy=body.remedy,
        set_aside=list(body.set_aside),
        basis=body.basis or "",
        document=body.document or "",
        proposed=list(body.proposed),
        arbiter=UUID(body.arbiter) if body.arbiter else None,
        at=fact.received_at,
    )
    for call in body.set_aside:
        set_aside(UUID(call), finding.pk, fact.position)
    return finding


def store_answer(fact: Logged[FindingAnswered]) -> None:
    body = fact.body
    FindingAnswer.objects.create(
        id=fact.id,
        position=fact.position,
        finding_id=UUID(body.finding),
        by=fact.sender,
        agrees=body.agrees,
        set_aside=list(body.set_aside),
        at=fact.received_at,
    )
    for call in body.set_aside:
        set_aside(UUID(call), UUID(body.finding), fact.position)
