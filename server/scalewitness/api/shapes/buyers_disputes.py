"""A dispute as the buyer reads it: parties, no names, no calls but those they are asked about."""

from datetime import datetime
from uuid import UUID

from msgspec import Struct

from scalewitness.disputes.models import Dispute
from scalewitness.disputes.queries.assent import summary_of, would_set_aside
from scalewitness.disputes.queries.disputes import statements_in
from scalewitness.disputes.queries.seats import disputes_over, part_for
from scalewitness.ledger.queries.entries import texts_of
from scalewitness.sales.models import Sale


class BuyersStatementShown(Struct, frozen=True):
    """``who``: “you”, “the seller” or “the keeper”; ``text`` None: the words were erased."""

    who: str
    at: datetime
    text: str | None


class BuyersFinding(Struct, frozen=True):
    """``recorder``: the part of whoever recorded it; ``word``: on whose word it rests, and who
    confirms that. ``answered``: what the buyer answered, None while they have not;
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


class BuyersDispute(Struct, frozen=True, tag_field="reader", tag="buyer"):
    id: UUID
    animal: UUID
    ground: str
    opened_at: datetime
    open: bool
    statements: list[BuyersStatementShown]
    finding: BuyersFinding | None


class BuyersDisputes(Struct, frozen=True):
    items: list[BuyersDispute]


def buyers_disputes(sale: Sale, now: datetime) -> BuyersDisputes:
    over = [one for animal in sale.animals.all() for one in disputes_over(sale, animal, now)]
    newest = sorted(over, key=lambda one: one.position, reverse=True)
    return BuyersDisputes([buyers_dispute(one, sale, now) for one in newest])


def buyers_dispute(one: Dispute, sale: Sale, now: datetime) -> BuyersDispute:
    return BuyersDispute(
        id=one.pk,
        animal=one.animal_id,
        ground=one.ground,
        opened_at=one.opened_at,
        open=not hasattr(one, "finding"),
        statements=_statements(one, sale, now),
        finding=_finding(one, sale) if hasattr(one, "finding") else None,
    )


def _statements(one: Dispute, sale: Sale, now: datetime) -> list[BuyersStatementShown]:
    rows = [(row, part_for(sale, one, row.by, now)) for row in statements_in(one.pk)]
    texts = texts_of(row.pk for row, _ in rows)
    return [
        BuyersStatementShown(part, row.at, texts.get((row.pk, "statement")))
        for row, part in rows
        if part
    ]


def _finding(one: Dispute, sale: Sale) -> BuyersFinding:
    found, summary, own = one.finding, summary_of(one, one.finding, sale), one.sale_id == sale.pk
    return BuyersFinding(
        id=found.pk,
        at=found.at,
        recorder=summary.recorder,
        outcome=found.outcome,
        remedy=found.remedy,
        word=summary.word,
        reasons=texts_of([found.pk]).get((found.pk, "reasons")),
        document=found.document or None,
        answered=summary.answers.get("buyer") if own else None,
        would_set_aside=[UUID(call) for call in would_set_aside(found)] if own else [],
    )
