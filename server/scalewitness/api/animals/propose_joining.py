"""One snake on two records, as the keeper of one says."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.animals.about import submit_about
from scalewitness.api.operations import operation
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact
from scalewitness.domain.errors import NotNow
from scalewitness.domain.facts import JoiningProposed


@operation(
    "Propose to join an animal with another record of it",
    takes=Fact[JoiningProposed],
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, NotNow),
    keyed=True,
)
def propose_joining(request: Request, id: UUID) -> Response:
    """The other record that bears this transponder's number too is of the same snake, the animal's
    keeper says. Its keeper is asked, and told by whom; nothing changes before they agree."""
    return submit_about(request, "joining_proposed", id)
