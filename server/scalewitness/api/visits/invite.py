"""Inviting another keeper to check one's animals."""

from typing import Any

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, FactAbout, begin
from scalewitness.domain.facts import VisitInvited


@operation(
    "Invite a keeper to a visit",
    takes=FactAbout[VisitInvited],
    gives=ANSWERS,
    refuses=FACT_REFUSALS,
    keyed=True,
)
def invite(request: Request) -> Response:
    """`about` is the new visit's id, made by the client. Blind unless said otherwise: each
    animal then needs a tag or transponder."""
    sent = body_of(request, FactAbout[dict[str, Any]])
    return begin(request, sent).submit(
        "visit_invited",
        sent.about,
        body=sent.body,
        location=reverse("api:visit", args=[sent.about]),
    )
