"""The buyer's pages: no account, no cookie; the emailed link is the only key.

They carry no CSRF token. Nothing here rests on a session: whoever can send a form to a
link knows the link, and could send it without tricking the buyer. (A page that sends no
referrer has browsers send ``Origin: null``, which the token check would refuse.)
"""

import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime
from functools import partial, wraps
from typing import Any, Final
from uuid import UUID

import msgspec
from django.db.models import prefetch_related_objects
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.cache import add_never_cache_headers
from django.views.decorators.csrf import csrf_exempt

from scalewitness.animals.models import Animal
from scalewitness.disclosures.models import Disclosure
from scalewitness.disclosures.queries import case_for_buyer
from scalewitness.domain.cautions import AFTER_A_DISCLOSURE, BEFORE_A_PURCHASE, COMPARE_ITS_CODE
from scalewitness.domain.errors import LinkGone, NotFound, NotNow
from scalewitness.domain.facts import OfferMade
from scalewitness.domain.moments import parse_moment
from scalewitness.domain.sales import HANDED_OVER, RELIED_ON
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.intake.batch import Actor
from scalewitness.intake.shown import shown_now
from scalewitness.letters import codes
from scalewitness.mail.templatetags.words import day, moment, remedy_in_words
from scalewitness.pages.animals.evidence import late_in_words, lines_of
from scalewitness.pages.disclosures.disclosure import both_versions, receipts_for
from scalewitness.pages.guards.throttling import opens_nothing
from scalewitness.pages.home.titles import title_in
from scalewitness.pages.offers.animal import animal_view, calls_of, then_and_now
from scalewitness.pages.offers.proving import of_disclosures, of_offer
from scalewitness.pages.parts.access import page, post_or_go
from scalewitness.pages.parts.facts import TEXTS, FactForm, StepForm, retype
from scalewitness.pages.parts.proving import seen_now
from scalewitness.pages.sales.forms import (
    AnswerForm,
    ConfirmationForm,
    ReleaseAnswerForm,
    ReturnForm,
)
from scalewitness.sales.models import OfferLink, Sale
from scalewitness.sales.queries import (
    confirmed_without_day,
    last_release,
    link_behind,
    offer_in_force,
    pay_until,
    progress_of,
)
from scalewitness.sales.queries.arrivals import last_arrivals
from scalewitness.sales.queries.returns import returns_of
from scalewitness.sales.services import try_code

View = Callable[..., HttpResponse]


def opened_by(behind: Callable[[str, datetime], object]) -> Callable[[View], View]:
    """Open a live link; anything else is the same plain page that says it opens nothing, and
    gives back what was typed. The view gets the request, the token and the link, which is
    ``behind`` the token."""

    def decorate(view: View) -> View:
        @csrf_exempt
        @wraps(view)
        def answer(request: HttpRequest, token: str, **more: Any) -> HttpResponse:
            try:
                response = view(request, token, behind(token, timezone.now()), **more)
            except (LinkGone, NotFound):
                typed = next((request.POST[one] for one in TEXTS if request.POST.get(one)), "")
                gone = partial(page, request, "offers/gone.html", {"typed": typed})
                response = opens_nothing(request, gone)
            response["Referrer-Policy"] = "no-referrer"
            add_never_cache_headers(response)
            return response

        return answer

    return decorate


by_link = opened_by(link_behind)
"""By the buyer's."""


def actor_by(link: OfferLink) -> Actor:
    return Actor(buyer=link.sale.buyer_id, sale=link.sale_id)


@by_link
def show_offer(request: HttpRequest, token: str, link: OfferLink) -> HttpResponse:
    if link.purpose == "disclosure":
        return _disclosure_page(request, token, link)
    return _offer_page(request, token, link)


@post_or_go("offer")
@by_link
def confirm(request: HttpRequest, token: str, link: OfferLink) -> HttpResponse:
    form = ConfirmationForm(request.POST, by_code=link.sale.by_code)
    if _submitted(form, link, by_code=_code_fits(form, link)):
        return redirect("offer", token)
    return _offer_page(request, token, link, confirmation=form)


@post_or_go("offer")
@by_link
def decline(request: HttpRequest, token: str, link: OfferLink) -> HttpResponse:
    form = AnswerForm("offer_declined", request.POST)
    if _submitted(form, link):
        return redirect("offer", token)
    return _offer_page(request, token, link, declining=form)


@post_or_go("offer")
@by_link
def ask_for_check(request: HttpRequest, token: str, link: OfferLink) -> HttpResponse:
    form = AnswerForm("check_requested", request.POST)
    if _submitted(form, link):
        return redirect("offer", token)
    return _offer_page(request, token, link, asking=form)


def _code_fits(form: ConfirmationForm, link: OfferLink) -> bool:
    """Tried apart from the confirmation, so that a wrong try is counted whatever follows."""
    if not link.sale.by_code or not form.is_valid():
        return False
    if try_code(link.sale, form.cleaned_data["code"], timezone.now()):
        return True
    form.add_error("code", "These are not the digits of the newest letter, or it is too old.")
    return False


@post_or_go("offer")
@by_link
def send_code(request: HttpRequest, token: str, link: OfferLink) -> HttpResponse:
    if link.purpose != "offer":
        raise NotFound()
    context = {"token": token, "sale": link.sale, "sent": True}
    try:
        codes.send_code(link.sale, timezone.now())
    except NotNow:
        return page(request, "offers/code.html", context | {"sent": False}, status=429)
    return page(request, "offers/code.html", context)


def _submitted(form: FactForm, link: OfferLink, *, by_code: bool = False) -> bool:
    """Only a link for the offer speaks for the buyer of the offer."""
    if link.purpose != "offer":
        raise NotFound()
    actor = replace(actor_by(link), by_code=by_code)
    return form.is_valid() and form.send(link.sale_id, actor) is not None


def _offer_page(
    request: HttpRequest,
    token: str,
    link: OfferLink,
    *,
    confirmation: ConfirmationForm | None = None,
    declining: AnswerForm | None = None,
    asking: AnswerForm | None = None,
) -> HttpResponse:
    # The log's tip is read first: whatever arrives while the rest is gathered is newer
    # than what the buyer confirms, and so is refused.
    seen, sale = seen_now(), link.sale
    prefetch_related_objects([sale], *OF_A_SALE)
    offer = offer_in_force(sale)
    if offer is None:
        raise NotFound()
    offered, progress = msgspec.convert(offer.body, OfferMade), progress_of(sale)
    asked = next((form for form in (confirmation, declining, asking) if form), None)
    shown = {"seen": seen, "shown": msgspec.to_builtins(shown_now(sale, offer).summary())}
    fresh = ConfirmationForm(initial={"offer": offer.pk, **shown}, by_code=sale.by_code)
    if confirmation:  # what was typed stays; it is this page that is confirmed next
        retype(confirmation, "seen", str(seen))
        retype(confirmation, "shown", json.dumps(shown["shown"]))
    animals = [animal_view(one, sale, offer) for one in _animals(sale)]
    context = {
        "token": token,
        "sale": sale,
        "seller": sale.collection.keeper,
        "offer": offer,
        "offered": offered,
        "lapsed": parse_moment(offered.expires) <= timezone.now(),
        "progress": progress,
        "pay_until": pay_until(sale),
        "without_day": confirmed_without_day(sale),
        "held": progress.is_held,
        "seen": seen,
        "animals": animals,
        "proof": of_offer(token, sale, seen, animals),
        "steps": _steps(sale),
        "bought": _bought(sale),
        **_arrivals(sale),
        "returns": list(_returns(sale)),
        **_release(sale),
        "cautions": [one for one in BEFORE_A_PURCHASE if one != COMPARE_ITS_CODE],
        "confirmation": confirmation or fresh,
        "changed": _changed(sale, confirmation),
        "declining": declining or AnswerForm("offer_declined"),
        "asking": asking or AnswerForm("check_requested"),
    }
    return page(request, "offers/offer.html", context, status=asked.status if asked else 200)


OF_A_SALE: Final = ("steps", "animals__collection", "animals__identifiers", "animals__custody")
"""What its page asks of a sale again and again."""


def _animals(sale: Sale) -> list[Animal]:
    return sorted(sale.animals.all(), key=lambda one: one.pk)


def _bought(sale: Sale) -> list[tuple[Animal, str]]:
    """The animals with what they are called, once the buyer relies on them."""
    if progress_of(sale).state not in RELIED_ON:
        return []
    return [(one, title_in(sale, one)) for one in _animals(sale)]


def _arrivals(sale: Sale) -> dict[str, Any]:
    """Of each animal that its buyer relies on their last word on whether it is the same."""
    answers = last_arrivals(sale)
    return {
        "arrivals": [(title, one, answers.get(one.pk)) for one, title in _bought(sale)],
        "handed_over": progress_of(sale).state in HANDED_OVER,
    }


def _returns(sale: Sale) -> Iterator[dict[str, Any]]:
    """What the seller says came back, with a form for each answer while there is none."""
    if not any(move.why == "returned" for one in _animals(sale) for move in one.custody.all()):
        return
    for claimed in returns_of(sale, timezone.now()):
        initial = {"move": claimed.id}
        forms = [
            (words, ReturnForm(initial=initial | {"answer": answer}, auto_id=False))
            for answer, words in RETURN_ANSWERS.items()
            if claimed.state == "waiting"
        ]
        yield {"title": title_in(sale, claimed.animal), "claimed": claimed, "forms": forms}


RETURN_ANSWERS: Final = {"confirmed": "Yes, I returned it", "denied": "No, I did not return it"}


def _release(sale: Sale) -> dict[str, Any]:
    """What the seller asked for last, with a form for each answer while it waits for a yes."""
    found = last_release(sale)
    open_ = found is not None and progress_of(sale).state == "paid"
    forms = [
        (words, ReleaseAnswerForm(initial={"asked": found.id, "answer": answer}, auto_id=False))
        for answer, words in RELEASE_ANSWERS.items()
        if found and open_ and not (answer == "denied" and found.denied)
    ]
    return {"release": found, "release_forms": forms}


RELEASE_ANSWERS: Final = {
    "agreed": "Yes, that is so: release it",
    "denied": "No, that is not so",
}


def _steps(sale: Sale) -> dict[str, Any]:
    """What the buyer has said so far, by kind, under the offer now in force."""
    steps = list(sale.steps.all())
    last = max((n for n, step in enumerate(steps) if step.kind == "offer_made"), default=0)
    return {step.kind: step for step in steps[last:]}


def _changed(sale: Sale, refused: ConfirmationForm | None) -> list[dict[str, str]]:
    """What moved while the buyer was reading, where their confirmation was refused for that."""
    names = {str(one.pk): title_in(sale, one) for one in sale.animals.all()}
    found = (refused.problem if refused else None) or {}
    return [
        {
            "of": names[one["animal"]] if one["animal"] else "The offer",
            "what": WHAT_MOVED[one["what"]],
            "was": _value(one["what"], one["was"]),
            "now": _value(one["what"], one["now"]),
        }
        for one in found.get("changed", ())
    ]


WHAT_MOVED: Final = {
    "label": "sex on record",
    "name": "name",
    "species": "species",
    "hatched": "hatched",
    "traits": "traits",
    "codes": "codes",
    "probability": "probability",
    "recheck_days": "days to recheck",
    "remedy": "remedy",
    "days_to_pay": "days to pay",
    "expires": "stands until",
}


def _value(what: str, value: str) -> str:
    if what == "species":
        return taxon(value).common
    if what in {"expires", "hatched"} and value != "none":
        return moment(value) if what == "expires" else day(value)
    return remedy_in_words(value) if what == "remedy" else value


# --- disclosures ------------------------------------------------------------------------


def _owed(link: OfferLink) -> list[Disclosure]:
    """Every disclosure of the link's sale, newest first: an old link shows new ones too."""
    return list(
        Disclosure.objects.filter(sale=link.sale_id)
        .select_related("acknowledgement", "animal", "sale__collection__keeper")
        .order_by("-position")
    )


def _disclosure_page(
    request: HttpRequest, token: str, link: OfferLink, refused: StepForm | None = None
) -> HttpResponse:
    seen = seen_now()
    prefetch_related_objects([link.sale], *OF_A_SALE)
    offer = offer_in_force(link.sale)
    owed, now = [_owed_view(one, link.sale) for one in _owed(link)], then_and_now(link.sale, offer)
    context = {
        "token": token,
        "sale": link.sale,
        "seller": link.sale.collection.keeper,
        "offered": msgspec.convert(offer.body, OfferMade) if offer else None,
        "proof": of_disclosures(token, link.sale, seen, owed, now),
        "owed": owed,
        "bought": _bought(link.sale),
        **_arrivals(link.sale),
        "returns": list(_returns(link.sale)),
        **_release(link.sale),
        "now": now,
        "advice": AFTER_A_DISCLOSURE,
        "refused": refused,
    }
    status = refused.status if refused else 200
    return page(request, "offers/disclosure.html", context, status=status)


def _owed_view(owed: Disclosure, sale: Sale) -> dict[str, Any]:
    case = case_for_buyer(owed.animal, sale)
    return (
        both_versions(owed)
        | receipts_for(owed)
        | {
            "form": StepForm("disclosure_acknowledged"),
            "reasons": lines_of(case, "reason"),
            "calls": calls_of(case, sale),
            "late": late_in_words(case.late),
        }
    )


@post_or_go("offer")
@by_link
def acknowledge(
    request: HttpRequest, token: str, link: OfferLink, disclosure_id: UUID
) -> HttpResponse:
    if link.purpose != "disclosure":
        raise NotFound()
    form = StepForm("disclosure_acknowledged", request.POST)
    if form.is_valid() and form.send(disclosure_id, actor_by(link)) is not None:
        return redirect("offer", token)
    return _disclosure_page(request, token, link, form)
