"""Disclosures: the writes. Intake calls these, nobody else."""

from uuid import UUID

import msgspec

from scalewitness.disclosures.models import Acknowledgement, Disclosure
from scalewitness.domain.facts import DisclosureAcknowledged, DisclosureOwed
from scalewitness.ledger.services.writing import Logged


def store_disclosure(fact: Logged[DisclosureOwed]) -> Disclosure:
    body = fact.body
    return Disclosure.objects.create(
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
    )


def store_acknowledgement(fact: Logged[DisclosureAcknowledged]) -> None:
    Acknowledgement.objects.create(
        disclosure_id=fact.about, position=fact.position, at=fact.received_at
    )
