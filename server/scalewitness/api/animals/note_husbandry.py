"""What was seen and done in passing."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.animals.about import submit_about
from scalewitness.api.operations import operation
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact, FactAnswer
from scalewitness.domain.errors import NotAllowed
from scalewitness.domain.facts import HusbandryNoted


@operation(
    "Note a weight, meal, shed or health",
    takes=Fact[HusbandryNoted],
    gives={**ANSWERS, 202: FactAnswer},
    refuses=(*FACT_REFUSALS, NotAllowed),
    keyed=True,
)
def note_husbandry(request: Request, id: UUID) -> Response:
    """Keeper and partners note anything; a guest may leave a weight, also after the visit. One that
    comes more than 14 days after it is held (202) and shares the fate of the call of that visit."""
    return submit_about(request, "husbandry_noted", id)
