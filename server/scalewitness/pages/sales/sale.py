"""Sales from the seller's side: draft, offer, payment, handover, and every letter."""

from collections.abc import Iterable, Mapping
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.queries import (
    animals_in,
    collection_of,
    collections_of,
    for_steward,
    lender_of,
    stewarded_collections,
    title_of,
)
from scalewitness.disclosures.models import Disclosure
from scalewitness.domain.consequences import verified_sex
from scalewitness.domain.errors import IdReused
from scalewitness.domain.facts import Representation
from scalewitness.domain.sales import HANDED_OVER, RELIED_ON, UNPAID, Progress, refusal
from scalewitness.fresh_ids import fresh_id
from scalewitness.intake.reassessing import restate
from scalewitness.intake.rules.sales import represent
from scalewitness.mail.queries import letters_for
from scalewitness.pages.animals.animal import stewarded_animal
from scalewitness.pages.collections.collection import stewarded
from scalewitness.pages.guards.throttling import takes_an_address
from scalewitness.pages.home.titles import Names, title_in
from scalewitness.pages.parts.access import actor_of, page, post_or_go, say_accepted, signed_in
from scalewitness.pages.parts.facts import StepForm, retype
from scalewitness.pages.parts.listing import listed
from scalewitness.pages.parts.picking import own_animals, picked
from scalewitness.pages.sales.claims import claims_to_offer
from scalewitness.pages.sales.forms import CustodyForm, DraftForm, OfferForm, ReleaseForm
from scalewitness.people.models import Keeper
from scalewitness.sales.models import Sale, SaleStep
from scalewitness.sales.queries import (
    confirmed_without_day,
    last_release,
    names_then,
    offer_in_force,
    pay_until,
    progress_of,
    sale_of,
    sales_of_animal,
    sales_seen,
)
from scalewitness.sales.queries.arrivals import Arrival, bearer_of, last_arrivals
from scalewitness.sales.queries.returns import returns_of
from scalewitness.sales.services import draft_sale
from scalewitness.standings.queries.footing import rests_on_lost

STATES = {
    "draft": "draft; nothing offered yet",
    "offered": "offered; the buyer has yet to answer",
    "confirmed": "confirmed; payment awaited",
    "paid": "paid; to be handed over",
    "handed_over": "handed over",
    "closed": "closed",
    "declined": "declined by the buyer",
    "withdrawn": "withdrawn",
    "lapsed": "lapsed",
    "released": "ended: the buyer released what was paid for",
}
STEPS = {
    "offer_made": "Offer made",
    "offer_withdrawn": "Offer withdrawn",
    "offer_declined": "The buyer declined",
    "offer_lapsed": "Lapsed: not confirmed, or not paid, in time",
    "sale_confirmed": "The buyer confirmed",
    "check_requested": "The buyer asked for an independent check",
    "sale_held": "Held: the record changed",
    "payment_recorded": "Payment recorded",
    "release_asked": "You asked the buyer to release it",
    "release_agreed": "The buyer agreed to the release",
    "release_denied": "The buyer denied what you say of the payment",
    "handed_over": "Handed over",
    "arrival_compared": "The buyer compared what arrived",
    "sale_closed": "Closed",
    "return_answered": "The buyer answered about the return",
}
ACTIONS = {
    "payment": ("payment_recorded", "Record that it is paid"),
    "handover": ("handed_over", "Record the handover"),
    "closing": ("sale_closed", "Close the sale"),
    "withdrawal": ("offer_withdrawn", "Withdraw the offer"),
    "release": ("release_asked", "Ask the buyer to release it"),
}


def sale_seen(keeper: Keeper, sale_id: UUID) -> Sale:
    """A sale from a collection the keeper holds or is a partner in.

    Raises:
        NotFound: not theirs, or there is none.
    """
    return for_steward(sale_of(sale_id), lambda one: one.collection, keeper.pk, timezone.now())


@signed_in
def show_sales(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    found = sales_seen(keeper.pk, timezone.now()).prefetch_related("animals__identifiers")
    sales = listed(request, found)
    names = names_then((sale, one) for sale in sales for one in sale.animals.all())
    context = {"rows": [_row(sale, names) for sale in sales], "listed": sales}
    return page(request, "sales/sales.html", context)


def _row(sale: Sale, names: Names) -> dict[str, Any]:
    progress = progress_of(sale)
    titles = ", ".join(title_in(sale, animal, names) for animal in sale.animals.all())
    state = STATES[progress.state]
    return {"sale": sale, "titles": titles, "state": state, "held": progress.is_held}


@signed_in
@takes_an_address
def draft(request: HttpRequest, keeper: Keeper, collection_id: UUID) -> HttpResponse:
    collection = stewarded(keeper, collection_id)
    form = picked(
        request,
        DraftForm,
        {"animals": own_animals(keeper, collection)},
        initial={"animals": request.GET.getlist("animal")},
    )
    if form.is_valid() and _draft(form, keeper, collection):
        return redirect("sale", form.cleaned_data["sale"])
    status = 422 if form.errors else 200
    context = {"form": form, "collection": collection}
    return page(request, "sales/draft.html", context, status=status)


def _draft(form: DraftForm, keeper: Keeper, collection: Collection) -> bool:
    given, now = form.cleaned_data, timezone.now()
    try:
        made = draft_sale(
            sale=given["sale"],
            collection=collection,
            animals=animals_in(collection, map(UUID, given["animals"])),
            # Ours to make: the buyer's steps enter the log under it.
            buyer_id=fresh_id(now),
            buyer_name=given["buyer_name"],
            buyer_email=given["buyer_email"],
            by_code=given["by_code"],
            by=keeper,
            now=now,
        )
    except IdReused as refused:
        form.add_error(None, refused.detail)
        return False
    restate(made.animals.values_list("pk", flat=True), now)
    return True


@signed_in
def show_sale(request: HttpRequest, keeper: Keeper, sale_id: UUID) -> HttpResponse:
    return _sale_page(request, sale_seen(keeper, sale_id))


def _sale_page(request: HttpRequest, sale: Sale, refused: StepForm | None = None) -> HttpResponse:
    progress = progress_of(sale)
    steps = list(sale.steps.all())
    owed = list(Disclosure.objects.filter(sale=sale).select_related("acknowledgement", "animal"))
    causes = {step.pk for step in steps} | {one.pk for one in owed}
    letters = [letter for found in letters_for(causes).values() for letter in found]
    animals = [(one, title_in(sale, one)) for one in sale.animals.order_by("pk")]
    last = last_arrivals(sale)
    mine = {sale.buyer_id, sale.collection.keeper_id}
    context = {
        "sale": sale,
        "progress": progress,
        "state": STATES[progress.state],
        "held": progress.is_held,
        "animals": animals,
        "offer": offer_in_force(sale),
        "pay_until": pay_until(sale),
        "without_day": confirmed_without_day(sale),
        "paid": RELIED_ON | {"released"},
        "steps": [(_step_words(step), step) for step in steps],
        "actions": _actions(progress),
        "can_offer": progress.state in {"draft", "declined", "withdrawn", "lapsed", *UNPAID},
        "letters": [letter for letter in letters if letter.recipient in mine],
        "disclosures": owed,
        "returns": [(title_in(sale, one.animal), one) for one in returns_of(sale, timezone.now())],
        "arrivals": [
            (title, last[one.pk], _mixed_up(last[one.pk], sale))
            for one, title in animals
            if one.pk in last
        ],
        "release": last_release(sale),
        "refused": refused,
    }
    status = refused.status if refused else 200
    return page(request, "sales/sale.html", context, status=status)


def _mixed_up(arrival: Arrival, sale: Sale) -> tuple[UUID, str] | None:
    """Which other animal of the collection bears the number that the buyer read, and its title."""
    found = bearer_of(arrival.read, sale.collection_id) if arrival.fits == "another" else None
    return (found.pk, title_of(found)) if found else None


def _step_words(step: SaleStep) -> str:
    return STEPS.get(step.kind, step.kind)


def _actions(progress: Progress) -> list[tuple[str, str, StepForm]]:
    """What the seller may do next: path, words, and a form with a fresh id."""
    return [
        (path, words, _form(kind))
        for path, (kind, words) in ACTIONS.items()
        if refusal(progress, kind) is None
    ]


def _form(kind: str, *sent: QueryDict) -> StepForm:
    return ReleaseForm(kind, *sent) if kind == "release_asked" else StepForm(kind, *sent)


@post_or_go("sale")
@signed_in
def take_step(request: HttpRequest, keeper: Keeper, sale_id: UUID, what: str) -> HttpResponse:
    if what not in ACTIONS:
        raise Http404
    sale = sale_seen(keeper, sale_id)
    form = _form(ACTIONS[what][0], request.POST)
    if form.is_valid():
        outcome = form.send(sale.pk, actor_of(keeper))
        if outcome is not None:
            say_accepted(request, outcome)
            return redirect("sale", sale.pk)
    return _sale_page(request, sale, form)


@signed_in
def offer(request: HttpRequest, keeper: Keeper, sale_id: UUID) -> HttpResponse:
    sale = sale_seen(keeper, sale_id)
    now = represent(sorted(sale.animals.values_list("pk", flat=True)))
    claims = claims_to_offer(sale)
    form = OfferForm(request.POST or None, sale=sale, represents=now, claims=claims)
    if form.is_valid():
        if form.send(sale.pk, actor_of(keeper)) is not None:
            messages.success(request, f"Offered. {sale.buyer.name} is told by letter.")
            return redirect("sale", sale.pk)
        if form.refused_as == "standing_moved":
            # Shown again with what the record says now; the rest stays as typed.
            retype(form, "represents", form.fields["represents"].initial)
    animals = {str(one.pk): title_in(sale, one) for one in sale.animals.all()}
    shown = [(animals[one.animal], one) for one in now]
    context = {"sale": sale, "represents": shown, "warnings": list(_lost(now, animals))}
    return page(request, "sales/offer.html", context, form)


def _lost(represented: Iterable[Representation], titles: Mapping[str, str]) -> Iterable[str]:
    """Verified sexes that rest on somebody's word who would verify none today."""
    for one in represented:
        sex = verified_sex(one.label)
        if sex is not None and rests_on_lost(UUID(one.animal), sex):
            yield (
                f"{titles[one.animal]}: nobody whose check verified this sex could verify one "
                "today. It stands; another check by somebody known here would make it firmer."
            )


@signed_in
def move(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    """To another collection of one's own, or to its buyer's once paid for."""
    form = CustodyForm(request.POST or None)
    if form.is_valid():
        outcome = form.send(animal_id, actor_of(keeper))
        if outcome is not None:
            say_accepted(request, outcome, "Moved; accepted at")
            return redirect("home")
    animal = stewarded_animal(keeper, animal_id)
    form.offer(_targets(keeper, animal))
    context = {"id": animal.pk, "title": title_of(animal), "heading": "Move to another collection"}
    return page(request, "animals/fact.html", context, form)


def _targets(keeper: Keeper, animal: Animal) -> list[tuple[str, str]]:
    shared = stewarded_collections(keeper.pk, timezone.now())
    return [
        *((str(one.pk), _named(one, keeper)) for one in shared if one.pk != animal.collection_id),
        *_lenders(animal),
        *(
            (f"{target.pk} {sale.pk}", f"{sale.buyer.name}, who bought it")
            for sale, target in _bought(animal)
        ),
        *(
            (f"{sale.collection_id} {sale.pk}", f"{_seller(sale, keeper)}, back from its sale")
            for sale in sales_of_animal(animal.pk)
            if progress_of(sale).state in HANDED_OVER
        ),
    ]


def _named(one: Collection, keeper: Keeper) -> str:
    return one.name if one.keeper_id == keeper.pk else f"{one.name}, kept by {one.keeper.name}"


def _seller(sale: Sale, keeper: Keeper) -> str:
    seller = sale.collection.keeper
    return "You yourself" if seller.pk == keeper.pk else seller.name


def _lenders(animal: Animal) -> list[tuple[str, str]]:
    lent_from = lender_of(animal.pk)
    lender = collection_of(lent_from) if lent_from else None
    return [(str(lender.pk), f"{lender.keeper.name}, who lent it")] if lender else []


def _bought(animal: Animal) -> list[tuple[Sale, Collection]]:
    """Paid sales whose buyer keeps a collection, with the first of theirs by name."""
    return [
        (sale, collections[0])
        for sale in sales_of_animal(animal.pk)
        if sale.collection_id == animal.collection_id
        and sale.buyer.keeper_id is not None
        and progress_of(sale).state in RELIED_ON
        and (collections := collections_of(sale.buyer.keeper_id))
    ]
