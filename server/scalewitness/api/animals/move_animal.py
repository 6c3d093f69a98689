"""An animal changes hands."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.animals.about import submit_about
from scalewitness.api.operations import operation
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact
from scalewitness.domain.errors import NotAllowed
from scalewitness.domain.facts import CustodyChanged


@operation(
    "Move an animal to another collection",
    takes=Fact[CustodyChanged],
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, NotAllowed),
    keyed=True,
)
def move_animal(request: Request, id: UUID) -> Response:
    """To another collection of one's own, or to its buyer's once it is paid for."""
    return submit_about(request, "custody_changed", id)
