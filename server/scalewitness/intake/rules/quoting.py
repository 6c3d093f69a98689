"""Quoting another log's record of an animal: by whoever keeps it. It is shown and never counted."""

from datetime import datetime
from typing import Final, cast
from uuid import UUID

from scalewitness.animals.queries import animal_of, is_steward
from scalewitness.domain.errors import NotFound, NotNow, NotTheFile, OutOfRange
from scalewitness.domain.facts import RecordQuoted
from scalewitness.domain.identifiers import plain_code
from scalewitness.domain.translog.bundle import BadBundle
from scalewitness.intake.batch import Actor, Batch
from scalewitness.intake.submission import Sealed
from scalewitness.ledger.queries.origins import is_closed
from scalewitness.ledger.services.memory import present_origin
from scalewitness.quoted import services
from scalewitness.quoted.queries import quote_of, quotes_of
from scalewitness.quoted.queries.reading import read_record

MOST: Final = 20
"""Quotes of one animal (our judgement: a state of its record a year, for the longest life)."""


def record_quoted(fact: Sealed, batch: Batch) -> int:
    """The file is sent once the fact is in, as a photo's is, and checked then. No standing is
    touched: whoever makes the other log could say anything in it."""
    animal, body = animal_of(fact.about), cast(RecordQuoted, fact.body)
    if animal is None or not is_steward(batch.actor.keeper, animal.collection, batch.now):
        raise NotFound()
    if body.origin == present_origin() or is_closed(body.origin):
        raise OutOfRange(
            "That is this very log: what it says of the animal is on its record here.",
            pointer="/body/origin",
        )
    code = plain_code(body.scheme, body.code)
    if not animal.identifiers.filter(scheme=body.scheme, code=code).exists():
        raise OutOfRange("The animal has no such code here.", pointer="/body/code")
    others = quotes_of(animal.pk)
    if others.filter(sha256=body.bundle, file__isnull=False).exists():
        raise NotNow("That is quoted already.")
    if others.count() >= MOST:
        raise NotNow(f"{MOST} records of other logs are quoted of it, which is the most.")
    logged = batch.log(fact)
    services.store_quote(logged)
    return logged.position


def take_quoted_file(quote: UUID, data: bytes, actor: Actor, now: datetime) -> None:
    """Keep the file of a quote whose fact is in the log, if it holds; the same again changes
    nothing.

    Raises:
        NotFound: the actor stated no such quote.
        NotTheFile: it does not hold, or is another than the fact names, or of another animal.
    """
    found = quote_of(quote)
    if found is None or found.by != actor.keeper:
        raise NotFound()
    try:
        record = read_record(data)
    except BadBundle as fault:
        raise NotTheFile(str(fault)) from None
    stated = (found.sha256, found.origin, found.size, str(found.there))
    if (record.sha256, record.origin, record.size, record.animal) != stated:
        raise NotTheFile("The record names another file for this quote.")
    if (found.scheme, found.code) not in record.codes:
        raise NotTheFile(
            "It is not shown to be of the same animal: the record in the file has not the code."
        )
    services.store_quoted_file(found, record, now)
