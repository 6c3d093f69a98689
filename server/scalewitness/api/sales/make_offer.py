"""An offer: the standing now, as the seller states it to the buyer."""

from collections.abc import Mapping
from typing import Annotated, Any, Literal
from uuid import UUID

import msgspec
from django.urls import reverse
from django.utils import timezone
from msgspec import Meta, field
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.sales.access import own_sale
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, IdAndTime, PendingFact, Texts, begin
from scalewitness.domain.errors import StandingMoved
from scalewitness.domain.facts import Id, Moment
from scalewitness.domain.sales import DAYS_TO_PAY
from scalewitness.intake.reassessing import restate
from scalewitness.intake.rules.sales import represent
from scalewitness.ledger.queries.entries import leaf_of
from scalewitness.sales.models import Sale
from scalewitness.traits.queries import claims_named


class NewOffer(IdAndTime, frozen=True, kw_only=True):
    """The terms. ``recheck_days``: how long the buyer may have the sex rechecked;
    ``remedy``: what is agreed for the case that it proves wrong. ``days_to_pay``: from the
    confirmation until the sale lapses, if you record no payment. ``claims``: statements of traits
    that the buyer may rely on."""

    recheck_days: Annotated[int, Meta(ge=0, le=365)]
    remedy: Literal["refund", "exchange", "refund_or_exchange", "to_be_agreed", "none"]
    expires: Moment
    days_to_pay: Annotated[int, Meta(ge=1, le=90)] = DAYS_TO_PAY
    claims: Annotated[tuple[Id, ...], Meta(max_length=200)] = ()
    texts: Texts = field(default_factory=dict)


@operation(
    "Make an offer",
    takes=NewOffer,
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, StandingMoved),
    keyed=True,
)
def make_offer(request: Request, id: UUID) -> Response:
    """The server fills in what is represented: the standing of each animal as the record
    has it now. The buyer is sent a link. Text: `note`."""
    sent = body_of(request, NewOffer)
    fact, sale = begin(request, sent), own_sale(request, id)
    return fact.submit(
        "offer_made",
        id,
        body={
            "collection": str(sale.collection_id),
            "buyer": str(sale.buyer_id),
            "represents": _represents(fact, sale),
            "recheck_days": sent.recheck_days,
            "remedy": sent.remedy,
            "expires": sent.expires,
            "days_to_pay": sent.days_to_pay,
            **({"claims": _claims(sent.claims)} if sent.claims else {}),
        },
        texts=sent.texts,
        flat=("body",),
        location=reverse("api:sale", args=[id]),
    )


def _claims(statements: tuple[str, ...]) -> list[dict[str, str]]:
    """Each with the animal that it is about; what there is none of is for the record to refuse."""
    found = claims_named(map(UUID, statements))
    return [
        {"animal": str(claim.animal_id) if claim else one, "stated": one}
        for one in statements
        for claim in [found.get(UUID(one))]
    ]


def _represents(fact: PendingFact, sale: Sale) -> list[Mapping[str, Any]]:
    """What the record says now; for a repeat, what the first one represented."""
    if fact.earlier is not None and fact.earlier.kind == "offer_made":
        represented: list[Mapping[str, Any]] = leaf_of(fact.earlier).body["represents"]
        return represented
    animals = list(sale.animals.order_by("pk").values_list("pk", flat=True))
    restate(animals, timezone.now())
    return [msgspec.to_builtins(one) for one in represent(animals)]
