"""An animal that is there again."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.animals.about import submit_about
from scalewitness.api.operations import operation
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact
from scalewitness.domain.facts import EndCorrected


@operation(
    "State that an animal was found again, or never ended",
    takes=Fact[EndCorrected],
    gives=ANSWERS,
    refuses=FACT_REFUSALS,
    keyed=True,
)
def correct_end(request: Request, id: UUID) -> Response:
    """For keeper and partners. It stands in lists and plans again; an offer that was held needs
    a new one. The earlier statement stays on record."""
    return submit_about(request, "end_corrected", id)
