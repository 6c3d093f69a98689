"""Two records that were joined and are of two snakes."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.animals.about import submit_about
from scalewitness.api.operations import operation
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact
from scalewitness.domain.errors import NotNow
from scalewitness.domain.facts import PartingProposed


@operation(
    "Propose to part an animal from a record it was joined with",
    takes=Fact[PartingProposed],
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, NotNow),
    keyed=True,
)
def propose_parting(request: Request, id: UUID) -> Response:
    """By the keeper of either; the other's is asked. Both rest on their own calls again once they
    agree."""
    return submit_about(request, "parting_proposed", id)
