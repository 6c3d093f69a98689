"""Standings and what they are worked out by: the writes. Intake calls these, nobody else."""

import msgspec

from scalewitness.domain.facts import (
    ExaminerRecordChanged,
    LinkageStated,
    PolicyAdopted,
    StandingChanged,
)
from scalewitness.ledger.services.inserting import Row
from scalewitness.ledger.services.writing import Logged
from scalewitness.standings.models import AdoptedPolicy, ExaminerRecord, StatedLinkage


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
