"""The buyer confirms what they saw."""

from dataclasses import replace
from typing import Annotated

import msgspec
from django.urls import reverse
from django.utils import timezone
from msgspec import Meta
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.offers.access import buyer_of, opened
from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, IdAndTime, begin
from scalewitness.domain.errors import LinkGone, StandingMoved
from scalewitness.domain.facts import WhatWasShown
from scalewitness.domain.translog.canonical import MAX_INTEGER
from scalewitness.sales.services import try_code


class Confirmation(IdAndTime, frozen=True, kw_only=True):
    """``seen`` is the log position the offer was shown at, ``shown`` what that came to: both as
    the offer gave them. ``statement``: in the buyer's own words, if they like. ``code``: from
    the newest letter, where the seller asks for one; every try counts."""

    seen: Annotated[int, Meta(ge=0, le=MAX_INTEGER)]
    shown: WhatWasShown
    statement: str | None = None
    code: Annotated[str, Meta(max_length=12)] | None = None


@operation(
    "Confirm an offer",
    takes=Confirmation,
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, LinkGone, StandingMoved),
    anonymous=True,
    keyed=True,
)
def confirm_offer(request: Request, token: str) -> Response:
    """Refused with `standing_moved` when something of it changed since: `changed` lists what, as
    it `was` and as it is `now`. A probability may move by 0.005. Read it again before you
    decide."""
    sent, link = body_of(request, Confirmation), opened(token, "offer")
    by_code = sent.code is not None and try_code(link.sale, sent.code, timezone.now())
    fact = begin(request, sent, replace(buyer_of(link.sale), by_code=by_code))
    return fact.submit(
        "sale_confirmed",
        link.sale_id,
        body={
            "offer": str(link.offer),
            "seen": sent.seen,
            "shown": msgspec.to_builtins(sent.shown),
        },
        texts={} if sent.statement is None else {"statement": sent.statement},
        flat=("body", "texts"),
        location=reverse("api:offer", args=[token]),
    )
