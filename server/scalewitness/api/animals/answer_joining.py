"""What the other keeper says of it."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.animals.about import submit_about
from scalewitness.api.operations import operation
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact
from scalewitness.domain.errors import NotAllowed, NotNow
from scalewitness.domain.facts import JoiningAnswered


@operation(
    "Answer a proposal to join or part an animal",
    takes=Fact[JoiningAnswered],
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, NotNow, NotAllowed),
    keyed=True,
)
def answer_joining(request: Request, id: UUID) -> Response:
    """By the keeper of the other animal, which the path names; or, with a ``finding``, by its
    arbiter. With a yes each record rests on the calls of both, or on its own again. A no can become
    a yes."""
    return submit_about(request, "joining_answered", id)
