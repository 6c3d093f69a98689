"""A buyer disputes what the record says of an animal they were sold."""

from django.urls import reverse
from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.offers.access import buyer_of, opened
from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, IdAndTime, begin
from scalewitness.disputes.models import Dispute
from scalewitness.disputes.queries.seats import open_to_buyer
from scalewitness.domain.errors import LinkGone
from scalewitness.domain.facts import Id
from scalewitness.sales.models import Sale


class BuyersProblem(IdAndTime, frozen=True, kw_only=True):
    """``dispute``: the new dispute's id, made by the client."""

    dispute: Id
    animal: Id
    note: str | None = None


@operation(
    "Report a problem as the buyer",
    takes=BuyersProblem,
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, LinkGone),
    anonymous=True,
    keyed=True,
)
def report_problem(request: Request, token: str) -> Response:
    """Opens a dispute, once the animal is paid for; the animal's keepers and the seller are
    told. While one is open already, the `note` becomes a statement in it."""
    sent, link = body_of(request, BuyersProblem), opened(token)
    already = _open_one(link.sale, sent)
    if already is not None and sent.note is not None:
        return begin(request, sent, buyer_of(link.sale)).submit(
            "statement_made",
            already.pk,
            texts={"statement": sent.note},
            flat=("texts",),
            location=reverse("api:offer", args=[token]),
        )
    return begin(request, sent, buyer_of(link.sale)).submit(
        "dispute_opened",
        sent.dispute,
        body={"animal": sent.animal, "ground": "party_objects", "sale": str(link.sale_id)},
        texts={} if sent.note is None else {"note": sent.note},
        flat=("body", "texts"),
        location=reverse("api:offer", args=[token]),
    )


def _open_one(sale: Sale, sent: BuyersProblem) -> Dispute | None:
    """The open dispute in which the buyer has a seat, if it is another than this."""
    animal = sale.animals.filter(pk=sent.animal).first()
    found = open_to_buyer(sale, animal, timezone.now()) if animal else None
    return found if found and str(found.pk) != sent.dispute else None
