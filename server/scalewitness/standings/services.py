"""Standings and what they are worked out by: the writes. Intake calls these, nobody else, but
for what is no fact."""

from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

import msgspec

from scalewitness.domain.facts import (
    AdoptedNumber,
    ExaminerRecordChanged,
    LinkageStated,
    NumbersAdopted,
    PolicyAdopted,
    StandingChanged,
)
from scalewitness.domain.sexing.learning.learn import learn
from scalewitness.domain.sexing.parameters import load_parameters, released
from scalewitness.fresh_ids import fresh_id
from scalewitness.ledger.queries.snapshot import snapshot
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.services.inserting import Row
from scalewitness.ledger.services.writing import Logged
from scalewitness.standings.models import (
    AdoptedNumbers,
    AdoptedPolicy,
    ExaminerRecord,
    NumbersCandidate,
    NumbersReview,
    StatedLinkage,
)
from scalewitness.standings.queries.assessing import yardstick
from scalewitness.standings.queries.numbers import as_logged
from scalewitness.standings.queries.settled_animals import settled_animals


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
        "verified_with": body.verified_with or "",
        "known_elsewhere": body.known_elsewhere,
        "calls_elsewhere": body.calls_elsewhere,
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


def store_numbers(fact: Logged[NumbersAdopted]) -> AdoptedNumbers:
    body = fact.body
    return AdoptedNumbers.objects.create(
        id=fact.about,
        position=fact.position,
        version=body.version,
        learned_until=body.learned_until,
        kept=body.kept,
        numbers=msgspec.to_builtins(body.numbers),
    )


def learn_numbers(now: datetime) -> NumbersCandidate:
    """Learn from all animals that are settled by now. Nothing comes into force by that."""
    with snapshot():
        size, base = tip().size, load_parameters(released(yardstick().parameters))
        found = _in_one_entry(as_logged(learn(settled_animals(now), base)))
    return NumbersCandidate.objects.create(
        id=fresh_id(now),
        made_at=now,
        learned_until=size,
        builds_on=base.version,
        numbers=msgspec.to_builtins(found),
    )


def review_under(position: int) -> NumbersReview | None:
    """How far animals were looked through under the numbers adopted there; None: they all were."""
    adoption = AdoptedNumbers.objects.get(position=position)
    review, _ = NumbersReview.objects.get_or_create(adoption=adoption)
    return None if review.finished else review


def note_review(review: NumbersReview, reached: UUID | None, *, finished: bool = False) -> None:
    """So that the next run need not begin at the start."""
    review.reached, review.finished = reached, finished
    review.save(update_fields=["reached", "finished"])


ROOM = 60_000
"""Bytes of an entry's at most 65,535 that numbers may take (our judgement)."""


def _in_one_entry(numbers: Iterable[AdoptedNumber]) -> tuple[AdoptedNumber, ...]:
    """As many as one entry of the log holds, those learned from most animals."""
    size, found = 0, []
    for one in sorted(numbers, key=lambda one: (-one.males - one.females, one.name)):
        size += len(msgspec.json.encode(one)) + 1
        if size <= ROOM:
            found.append(one)
    return tuple(sorted(found, key=lambda one: one.name))


def store_examiner_record(fact: Logged[ExaminerRecordChanged]) -> ExaminerRecord:
    return ExaminerRecord.objects.create(
        id=fact.id,
        position=fact.position,
        examiner=fact.about,
        role=fact.body.role,
        counts=msgspec.to_builtins(fact.body.counts),
        hosts=fact.body.hosts,
    )
