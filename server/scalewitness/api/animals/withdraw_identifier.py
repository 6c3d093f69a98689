"""A code given to an animal by mistake."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.animals.about import submit_about
from scalewitness.api.operations import operation
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact
from scalewitness.domain.errors import NotNow
from scalewitness.domain.facts import IdentifierWithdrawn


@operation(
    "Withdraw an identifier of an animal",
    takes=Fact[IdentifierWithdrawn],
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, NotNow),
    keyed=True,
)
def withdraw_identifier(request: Request, id: UUID) -> Response:
    """It was not the animal's own. Not while checks by others, or a buyer, rely on it."""
    return submit_about(request, "identifier_withdrawn", id)
