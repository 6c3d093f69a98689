"""What was seen and done in passing."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.animals.about import submit_about
from scalewitness.api.operations import operation
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact
from scalewitness.domain.errors import NotAllowed
from scalewitness.domain.facts import HusbandryNoted


@operation(
    "Note a weight, meal, shed or health",
    takes=Fact[HusbandryNoted],
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, NotAllowed),
    keyed=True,
)
def note_husbandry(request: Request, id: UUID) -> Response:
    """Keeper and partners note anything; a guest may leave a weight."""
    return submit_about(request, "husbandry_noted", id)
