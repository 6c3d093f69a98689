"""Another log's record of an animal, quoted by whoever keeps the animal here."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.animals.about import submit_about
from scalewitness.api.operations import operation
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact
from scalewitness.domain.facts import RecordQuoted


@operation(
    "Quote another log's record of an animal",
    takes=Fact[RecordQuoted],
    gives=ANSWERS,
    refuses=FACT_REFUSALS,
    keyed=True,
)
def quote_record(request: Request, id: UUID) -> Response:
    """By its keeper or their partner, of a code that both records have. `bundle` is the SHA-256 of
    the file with `openings` empty. Send the file next: until it is here nothing of it is shown. It
    counts in no standing of this log."""
    return submit_about(request, "record_quoted", id)
