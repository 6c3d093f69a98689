"""Species, hatch date, parents and traits put right."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.animals.about import submit_about
from scalewitness.api.operations import operation
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact
from scalewitness.domain.errors import NotAllowed
from scalewitness.domain.facts import ParticularsCorrected


@operation(
    "Correct an animal's particulars",
    takes=Fact[ParticularsCorrected],
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, NotAllowed),
    keyed=True,
)
def correct_particulars(request: Request, id: UUID) -> Response:
    """Replaces all particulars; the earlier ones stay in the log."""
    return submit_about(request, "particulars_corrected", id)
