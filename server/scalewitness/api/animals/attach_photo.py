"""A photo of an animal or of a call on it."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.animals.about import submit_about
from scalewitness.api.operations import operation
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact
from scalewitness.domain.errors import NotAllowed
from scalewitness.domain.facts import PhotoAttached


@operation(
    "Attach a photo",
    takes=Fact[PhotoAttached],
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, NotAllowed),
    keyed=True,
)
def attach_photo(request: Request, id: UUID) -> Response:
    """Keeper and partners of the animal itself, anyone of a call of their own. The file may
    follow later."""
    return submit_about(request, "photo_attached", id)
