"""Disclosures: the writes. Intake calls these, nobody else."""

from uuid import UUID

import msgspec

from scalewitness.disclosures.models import Acknowledgement, Disclosure
from scalewitness.domain.facts import DisclosureAcknowledged, DisclosureOwed
from scalewitness.ledger.queries.prepared import columns
from scalewitness.ledger.services.inserting import Row, as_json
from scalewitness.ledger.services.writing import Logged


def disclosure(fact: Logged[DisclosureOwed]) -> Disclosure:
    """As it is owed; there may be hundreds, to be stored together by :func:`disclosure_row`."""
    body = fact.body
    return Disclosure(
        id=fact.about,
        position=fact.position,
        sale_id=UUID(body.sale),
        animal_id=UUID(body.animal),
        to_id=UUID(body.to),
        cause=UUID(body.cause),
        change=body.change,
        was=msgspec.to_builtins(body.was),
        now=msgspec.to_builtins(body.now),
        owed_at=fact.received_at,
        claim=UUID(body.claim.stated) if body.claim else None,
        chance=(body.claim.chance or "") if body.claim else "",
    )


def disclosure_row(owed: Disclosure) -> Row:
    row = {name: getattr(owed, name) for name in columns(Disclosure)}
    return row | {"was": as_json(owed.was), "now": as_json(owed.now)}


def store_acknowledgement(fact: Logged[DisclosureAcknowledged]) -> None:
    Acknowledgement.objects.create(
        disclosure_id=fact.about, position=fact.position, at=fact.received_at
    )
