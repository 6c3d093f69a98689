"""By what an animal is told apart."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.animals.about import submit_about
from scalewitness.api.operations import operation
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact
from scalewitness.domain.errors import NotAllowed
from scalewitness.domain.facts import IdentifierAssigned


@operation(
    "Give an animal an identifier",
    takes=Fact[IdentifierAssigned],
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, NotAllowed),
    keyed=True,
)
def assign_identifier(request: Request, id: UUID) -> Response:
    """A transponder (ISO 11784, 15 digits), a tag or a scale photograph. The flag
    ``known_elsewhere``: another record bore this transponder first, and this animal is probable at
    most until one of the two bears it no more."""
    return submit_about(request, "identifier_assigned", id)
