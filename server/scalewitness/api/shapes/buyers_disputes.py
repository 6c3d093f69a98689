"""A dispute as the buyer reads it: parties, no names, no calls but those they are asked about."""

from datetime import datetime
from uuid import UUID

from msgspec import Struct

from scalewitness.disputes.models import Dispute
from scalewitness.disputes.queries.assent import said_of
from scalewitness.disputes.queries.disputes import disputes_over, part_in, statements_in
from scalewitness.ledger.queries.entries import texts_of
from scalewitness.sales.models import Sale


class BuyersStatementShown(Struct, frozen=True):
    """``who``: a part in the deal; ``text`` None: the words were erased."""

    who: str
    at: datetime
    text: str | None


class BuyersFinding(Struct, frozen=True):
    """``recorder``: the part of whoever recorded it; ``word``: on whose word it rests, and who
    confirms that. ``answered``: what the buyer said, None while they have not;
    ``would_set_aside``: what their answer repeats where they agree."""

    id: UUID
    at: datetime
    recorder: str
    outcome: str
    remedy: str
    word: str
    reasons: str | None
    document: str | None
    answered: bool | None
    would_set_aside: list[UUID]


class BuyersDispute(Struct, frozen=True):
    id: UUID
    animal: UUID
    ground: str
    opened_at: datetime
    open: bool
    statements: list[BuyersStatementShown]
    finding: BuyersFinding | None


class BuyersDisputes(Struct, frozen=True):
    items: list[BuyersDispute]


def buyers_disputes(sale: Sale) -> BuyersDisputes:
    return BuyersDisputes([_shown(one) for one in disputes_over(sale)])


def _shown(one: Dispute) -> BuyersDispute:
    return BuyersDispute(
        id=one.pk,
        animal=one.animal_id,
        ground=one.ground,
        opened_at=one.opened_at,
        open=not hasattr(one, "finding"),
        statements=_statements(one),
        finding=_finding(one) if hasattr(one, "finding") else None,
    )


def _statements(one: Dispute) -> list[BuyersStatementShown]:
    rows = statements_in(one.pk)
    texts = texts_of(row.pk for row in rows)
    return [
        BuyersStatementShown(part_in(one, row.by), row.at, texts.get((row.pk, "statement")))
        for row in rows
    ]


def _finding(one: Dispute) -> BuyersFinding:
    found, said = one.finding, said_of(one, one.finding)
    return BuyersFinding(
        id=found.pk,
        at=found.at,
        recorder=said.recorder,
        outcome=found.outcome,
        remedy=found.remedy,
        word=said.word,
        reasons=texts_of([found.pk]).get((found.pk, "reasons")),
        document=found.document or None,
        answered=said.answers.get("buyer"),
        would_set_aside=[UUID(call) for call in said.would_set_aside],
    )
