"""A trait inherited with sex, stated with what is known of the parents."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.animals.about import submit_about
from scalewitness.api.operations import operation
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact
from scalewitness.domain.facts import LinkageStated


@operation(
    "State a sex-linked trait and its linkage phase",
    takes=Fact[LinkageStated],
    gives=ANSWERS,
    refuses=FACT_REFUSALS,
    keyed=True,
)
def state_linkage(request: Request, id: UUID) -> Response:
    """For keeper and partners, once both parents are on record. The latest statement counts;
    it moves the chance the standing starts from and is never a check. To take one back, state
    it anew without `beside`."""
    return submit_about(request, "linkage_stated", id)
