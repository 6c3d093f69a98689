"""An animal that was registered in error."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.animals.about import submit_about
from scalewitness.api.operations import operation
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact
from scalewitness.domain.facts import RegisteredInError


@operation(
    "State that an animal was registered in error",
    takes=Fact[RegisteredInError],
    gives=ANSWERS,
    refuses=FACT_REFUSALS,
    keyed=True,
)
def state_registered_in_error(request: Request, id: UUID) -> Response:
    """For keeper and partners, while nothing was stated of it but particulars and codes. It leaves
    everything but the log, for good, and its codes are free again."""
    return submit_about(request, "registered_in_error", id)
