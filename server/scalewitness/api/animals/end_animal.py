"""An animal that is no longer there."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.animals.about import submit_about
from scalewitness.api.operations import operation
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact
from scalewitness.domain.facts import AnimalEnded


@operation(
    "State that an animal died, is lost or was stolen",
    takes=Fact[AnimalEnded],
    gives=ANSWERS,
    refuses=FACT_REFUSALS,
    keyed=True,
)
def end_animal(request: Request, id: UUID) -> Response:
    """For keeper and partners. The animal leaves lists, sheets, plans and planned pairings; an
    open offer of it is held and everyone concerned is told. The record of it stays, with all
    that is owed, and calls on it are taken as before."""
    return submit_about(request, "animal_ended", id)
