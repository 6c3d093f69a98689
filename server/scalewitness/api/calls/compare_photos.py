"""Somebody else laid a photo of the check beside an earlier one."""

from typing import Any, Literal
from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.calls.object_to_call import animal_seen
from scalewitness.api.operations import operation
from scalewitness.api.reading import Sent, body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact, begin, filled
from scalewitness.calls.queries.made import call_of
from scalewitness.domain.errors import NotAllowed
from scalewitness.domain.facts import Id


class ComparisonBody(Sent, frozen=True, kw_only=True):
    """``photo`` is of the call that the path names; ``earlier`` was on record before it."""

    photo: Id
    earlier: Id
    answer: Literal["same", "another"]


@operation(
    "Compare photos of a check",
    takes=Fact[ComparisonBody],
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, NotAllowed),
    keyed=True,
)
def compare_photos(request: Request, id: UUID) -> Response:
    """For whoever sees the animal whole and has no share in it, nor keeps animals with the
    sender. The same animal: the check counts as if its code had been read."""
    sent = body_of(request, Fact[dict[str, Any]])
    fact, found = begin(request, sent), call_of(id)
    return fact.submit(
        "photos_compared",
        fact.about(id, animal_seen(found, keeper_of(request).pk, fact.now)),
        body=filled(sent.body, call=str(id)),
        texts=sent.texts,
        location=reverse("api:call", args=[id]),
    )
