"""Notices owed to buyers: what the seller sees of them, and the buyer who has an account."""

from typing import Any
from uuid import UUID

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.animals.queries import for_steward
from scalewitness.disclosures.models import Disclosure
from scalewitness.disclosures.queries import (
    disclosure_of,
    disclosure_seen,
    disclosures_in,
    disclosures_to,
)
from scalewitness.domain.errors import NotFound
from scalewitness.domain.genetics.stated_words import statement_in_words
from scalewitness.domain.habits import readers
from scalewitness.ledger.queries.entries import entry_at
from scalewitness.letters.claims import now_in_words
from scalewitness.mail.models import Letter
from scalewitness.mail.queries import letters_for
from scalewitness.mail.services.composing import compose
from scalewitness.mail.services.links import link_token
from scalewitness.pages.home.titles import Names, is_open, title_in
from scalewitness.pages.parts.access import actor_of, page, post_or_go, signed_in
from scalewitness.pages.parts.facts import StepForm
from scalewitness.people.models import Keeper
from scalewitness.sales.queries import codes_known, names_then, offer_in_force, sales_seen
from scalewitness.traits.queries import as_statements, claims_named

CHANGES = {
    "fell": "The verified sex no longer stands.",
    "reversed": "The record now says the other sex.",
    "restored": "The verified sex stands again.",
}
CLAIM_CHANGES = {
    "fell": "A claimed trait no longer stands.",
    "withdrawn": "A claimed trait was withdrawn by whoever stated it.",
    "restored": "A claimed trait stands again.",
}
OWN_LINK = "(your buyer’s own link)"
DELIVERY = {
    "waiting": "waiting to be sent",
    "sending": "being sent",
    "sent": "sent",
    "failed": "could not be delivered",
    "returned": "came back: that address takes no mail",
    "joined": "included in a later letter",
}


def both_versions(owed: Disclosure, names: Names | None = None) -> dict[str, Any]:
    """What was represented and what the record says now, as the two stood when owed."""
    offer = offer_in_force(owed.sale)
    return {
        "owed": owed,
        "title": title_in(owed.sale, owed.animal, names),
        "identifiers": codes_known(owed.animal, owed.sale),
        "change": (CLAIM_CHANGES if owed.claim else CHANGES)[owed.change],
        **_versions(owed),
        "represented_at": offer.at if offer else None,
        "open": is_open(owed),
    }


def _versions(owed: Disclosure) -> dict[str, Any]:
    """Of a claim, in words; its position is that of what was stated, and of the disclosure."""
    claim = claims_named([owed.claim]).get(owed.claim) if owed.claim else None
    if claim is None:
        return {"was": owed.was, "now": owed.now}
    (stated,) = as_statements([claim])
    becomes = "stands again" if owed.change == "restored" else now_in_words(owed.chance or None)
    words = statement_in_words(owed.animal.species, stated)
    return {
        "was": {"label": words, "position": claim.position},
        "now": {"label": becomes, "position": owed.position},
        "of_claim": True,
    }


def receipts_for(owed: Disclosure) -> dict[str, Any]:
    """The facts that it was owed and, once it was, acknowledged."""
    read = getattr(owed, "acknowledgement", None)
    acknowledged = entry_at(read.position) if read else None
    stated = entry_at(owed.position)
    return {"fact": stated and stated.fact, "read_fact": acknowledged and acknowledged.fact}


@signed_in
def show_disclosures(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    given = disclosures_in(sales_seen(keeper.pk, timezone.now()))
    letters = letters_for({one.pk for one in given})
    names = names_then((one.sale, one.animal) for one in given)
    context = {
        "given": [both_versions(one, names) | _delivery(one, letters) for one in given],
        "received": [both_versions(one) for one in disclosures_to(keeper.pk)],
    }
    return page(request, "disclosures/disclosures.html", context)


def _delivery(owed: Disclosure, letters: dict[UUID, list[Letter]]) -> dict[str, Any]:
    mine = letters.get(owed.pk, [])
    letter = mine[-1] if mine else None
    return {
        "letter": letter,
        "delivery": DELIVERY[letter.state] if letter else "no letter found",
    }


@signed_in
def show_disclosure(request: HttpRequest, keeper: Keeper, disclosure_id: UUID) -> HttpResponse:
    return _disclosure_page(request, keeper, disclosure_id)


def _disclosure_page(
    request: HttpRequest, keeper: Keeper, disclosure_id: UUID, refused: StepForm | None = None
) -> HttpResponse:
    owed, selling = disclosure_seen(keeper.pk, disclosure_id, timezone.now())
    offer = offer_in_force(owed.sale)
    context = (
        both_versions(owed)
        | receipts_for(owed)
        | {
            "selling": selling,
            "buying": owed.to.keeper_id == keeper.pk,
            "seller": owed.sale.collection.keeper,
            "offered": offer.body if offer else None,
            "form": StepForm("disclosure_acknowledged"),
            "refused": refused,
        }
    )
    if selling:
        context |= _delivery(owed, letters_for([owed.pk]))
    status = refused.status if refused else 200
    return page(request, "disclosures/disclosure.html", context, status=status)


@signed_in
def show_letter(request: HttpRequest, keeper: Keeper, disclosure_id: UUID) -> HttpResponse:
    """The letter as it goes, for its seller to read. The buyer's way in is left out: whoever
    has it can answer in the buyer's name."""
    owed = for_steward(
        disclosure_of(disclosure_id), lambda one: one.sale.collection, keeper.pk, timezone.now()
    )
    delivery = _delivery(owed, letters_for([owed.pk]))
    letter = delivery["letter"]
    if letter is None:
        raise NotFound()
    message = compose(letter, habits=readers())
    token = link_token(UUID(letter.context["link"]))
    context = delivery | {
        "owed": owed,
        "subject": message.subject,
        "text": str(message.body).replace(f"{settings.PUBLIC_URL}/offers/{token}", OWN_LINK),
    }
    return page(request, "disclosures/letter.html", context)


@post_or_go("disclosure")
@signed_in
def acknowledge(request: HttpRequest, keeper: Keeper, disclosure_id: UUID) -> HttpResponse:
    form = StepForm("disclosure_acknowledged", request.POST)
    if form.is_valid() and form.send(disclosure_id, actor_of(keeper)) is not None:
        return redirect("disclosure", disclosure_id)
    return _disclosure_page(request, keeper, disclosure_id, form)
