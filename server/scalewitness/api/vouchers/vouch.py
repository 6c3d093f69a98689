"""A keeper answers for another, or does so no longer."""

from typing import Any
from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import Sent, body_of
from scalewitness.api.shapes.vouchers import PracticeWord
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact, begin
from scalewitness.domain.errors import NotAllowed


class VoucherBody(Sent, frozen=True, kw_only=True):
    """``practice``: that their account is a practice's, as it says; absent: as an examiner."""

    vouches: bool = True
    practice: PracticeWord | None = None


@operation(
    "Vouch for a keeper, or no longer",
    takes=Fact[VoucherBody],
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, NotAllowed),
    keyed=True,
)
def vouch(request: Request, id: UUID) -> Response:
    """Two keepers who keep no animals together give another's word a footing. Two who have
    nothing to do with each other, with whoever sent a report or with the animal's keepers make
    the answer of a practice's account count."""
    sent = body_of(request, Fact[dict[str, Any]])
    return begin(request, sent).submit(
        "keeper_vouched", id, body=sent.body, location=reverse("api:vouchers")
    )
