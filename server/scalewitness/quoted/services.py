"""Quotes: the writes. Intake calls these, nobody else."""

from datetime import datetime
from uuid import UUID

from scalewitness.domain.facts import RecordQuoted
from scalewitness.domain.identifiers import plain_code
from scalewitness.ledger.services.writing import Logged
from scalewitness.quoted.models import Quote, QuotedFile
from scalewitness.quoted.queries.reading import QuotedRecord


def store_quote(fact: Logged[RecordQuoted]) -> None:
    body = fact.body
    Quote.objects.create(
        id=fact.id,
        position=fact.position,
        animal_id=fact.about,
        by=fact.sender,
        at=fact.at,
        sha256=body.bundle,
        origin=body.origin,
        size=body.size,
        there=UUID(body.animal),
        scheme=body.scheme,
        code=plain_code(body.scheme, body.code),
    )


def store_quoted_file(quote: Quote, found: QuotedRecord, now: datetime) -> None:
    """Keep the file; one that is there already stays."""
    row = QuotedFile(
        quote=quote,
        data=found.data,
        key=found.key,
        root=found.root,
        signed_at=found.signed_at,
        entries=found.entries,
        calls=found.calls,
        label=found.label,
        p_male=found.p_male,
        arrived_at=now,
    )
    QuotedFile.objects.bulk_create([row], ignore_conflicts=True)
