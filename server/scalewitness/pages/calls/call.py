"""Calls: choosing a method, logging what was seen, and what comes after."""

from typing import Any
from uuid import UUID, uuid5

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import condition, is_steward, title_of
from scalewitness.calls.models import Call, HeldCall
from scalewitness.calls.queries.held import notes_held_with, own_held_call
from scalewitness.calls.queries.made import call_of
from scalewitness.calls.queries.visibility import animal_open, animal_seen
from scalewitness.domain.cautions import reasons_to_wait
from scalewitness.domain.errors import NotFound
from scalewitness.domain.methods import METHODS
from scalewitness.intake.rules.refiling import bearer_of
from scalewitness.ledger.queries.entries import texts_of
from scalewitness.pages.animals.animal import blind_title, blind_view, full_view
from scalewitness.pages.calls.forms import CallForm, one_of
from scalewitness.pages.calls.late import own_row
from scalewitness.pages.calls.methods import FORMS
from scalewitness.pages.parts.access import actor_of, page, say_accepted, signed_in
from scalewitness.pages.parts.before_a_check import before_a_check
from scalewitness.pages.parts.facts import FactForm, new_id, note
from scalewitness.pages.plots.of_case import depths_in
from scalewitness.pages.visits.sheet import sheet_of
from scalewitness.people.models import Keeper
from scalewitness.people.queries import grants_on, practitioner_named
from scalewitness.people.services import name_practitioner
from scalewitness.visits.queries import state_of, visit_of

USUAL = 2
"""Methods offered first: probing and everting, as at most racks (our judgement)."""


class WithdrawalForm(FactForm):
    kind = "call_withdrawn"
    note = note("Why you withdraw it")

    def __init__(self, *args: Any, call: UUID, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.call = call

    def body(self) -> dict[str, Any]:
        return {"call": str(self.call)}


class ObjectionForm(WithdrawalForm):
    kind = "call_objected"
    ground = one_of(
        "What is wrong with it?",
        (
            ("wrong_animal", "Another animal was checked"),
            ("wrong_reading", "It was misread"),
            ("wrong_method", "The method does not fit"),
            ("not_blind", "The examiner knew more than stated"),
            ("other", "Something else"),
        ),
    )
    note = note("In your words")
    field_order = ("ground", "note")

    def body(self) -> dict[str, Any]:
        return {**super().body(), "ground": self.cleaned_data["ground"]}


def _check_view(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> dict[str, Any]:
    """An animal as whoever is about to check it may see it, cautions first."""
    now = timezone.now()
    animal, sight = animal_seen(keeper.pk, animal_id, now)
    steward = is_steward(keeper.pk, animal.collection, now)
    reasons = list(
        reasons_to_wait(
            condition(animal.pk),
            hold_off=animal.hold_off,
            now=now,
            steward=steward,
            ended=animal.ended,
        )
    )
    return {
        "id": animal.pk,
        "title": title_of(animal) if sight == "all" else blind_title(animal),
        "sight": sight,
        "blind": blind_view(animal),
        "steward": steward,
        "visit": None if steward else _visit(keeper, animal),
        "warnings": reasons,
    } | before_a_check(request)


def _visit(keeper: Keeper, animal: Animal) -> UUID | None:
    """The open visit on which the keeper may examine this animal, the latest first."""
    now = timezone.now()
    grants = grants_on(keeper.pk, animal.collection_id, animal.pk)
    open_ones = [
        grant.pk
        for grant in grants
        if grant.role == "guest"
        and grant.opens <= now
        and (grant.closes is None or now < grant.closes)
        and not hasattr(grant, "end")
    ]
    return open_ones[-1] if open_ones else None


@signed_in
def choose_method(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    context = _check_view(request, keeper, animal_id)
    offered = [(m, w) for m, w in METHODS.items() if context["steward"] or not w.only_of_a]
    ways = {"usual": offered[:USUAL], "others": offered[USUAL:]}
    return page(request, "calls/choose.html", context | ways)


@signed_in
def make_call(request: HttpRequest, keeper: Keeper, animal_id: UUID, method: str) -> HttpResponse:
    if method not in FORMS:
        raise Http404
    if request.method == "POST":
        return _log(request, keeper, animal_id, FORMS[method])
    context = _check_view(request, keeper, animal_id)
    initial = {"visit": context["visit"]}
    if method == "reproduction":  # from the season's notes
        initial |= {name: request.GET.get(name) for name in ("event", "count")}
    form = FORMS[method](steward=context["steward"], initial=initial)
    return page(request, "calls/new.html", context, form)


def _log(
    request: HttpRequest, keeper: Keeper, animal_id: UUID, kind: type[CallForm]
) -> HttpResponse:
    """Take the call even where the visit ended while the form was open: intake decides."""
    form = kind(request.POST, steward="reported_role" in request.POST)
    if form.is_valid():
        form.practitioner = _practitioner(keeper, form)
        outcome = form.send(animal_id, actor_of(keeper))
        if outcome is not None:
            return redirect("accepted", outcome.id)
    return page(request, "calls/new.html", _check_view(request, keeper, animal_id), form)


def _practitioner(keeper: Keeper, form: CallForm) -> UUID | None:
    """Whoever made a reported check, named to the record the first time."""
    name = form.cleaned_data.get("reported_name")
    if not form.cleaned_data.get("reported_role") or not name:
        return None
    known = practitioner_named(keeper.pk, name)
    return (known or name_practitioner(keeper, _id_of(form, name), name)).pk


def _id_of(form: CallForm, name: str) -> UUID:
    """So that the form states the same however often it is sent."""
    return uuid5(form.cleaned_data["practitioner_id"] or UUID(new_id()), name)


@signed_in
def show_accepted(request: HttpRequest, keeper: Keeper, call_id: UUID) -> HttpResponse:
    """What became of one's own call; only now the earlier ones and the standing."""
    call = call_of(call_id)
    if call is None:
        held = own_held_call(keeper.pk, call_id)
        if held is None:
            raise NotFound()
        return page(request, "calls/held.html", _held(held))
    if call.by != keeper.pk:
        raise NotFound()
    return page(request, "calls/accepted.html", _accepted(keeper, call))


def _held(held: HeldCall) -> dict[str, Any]:
    notes = notes_held_with(held)
    weights = [one.submission["body"]["noted"].get("grams") for one in notes]
    note = texts_of([held.pk]).get((held.pk, "note"))
    return own_row(held) | {"weights": [one for one in weights if one], "note": note}


def _accepted(keeper: Keeper, call: Call) -> dict[str, Any]:
    bearer = bearer_of(call, timezone.now())
    context: dict[str, Any] = {"call": call, "method": METHODS[call.method].name}
    context |= {"bearer": bearer and blind_title(bearer), "refiled": hasattr(call, "refiled")}
    context |= _next(keeper, call)
    try:
        animal = animal_open(keeper.pk, call.animal_id, timezone.now())
    except NotFound:
        return context
    view = full_view(animal)
    others = [one for one in view["calls"] if one.call.pk != call.pk]
    mine = [one for one in view["calls"] if one.call.pk == call.pk]
    more = {"animal": animal, "title": title_of(animal), "others": others, "mine": mine}
    return context | view | more | {"drawn": depths_in(view["case"], call.pk)}


def _next(keeper: Keeper, call: Call) -> dict[str, Any]:
    """On a visit that is open: how far its guest is, and the animal that comes next."""
    visit, now = visit_of(call.visit) if call.visit else None, timezone.now()
    if visit is None or visit.guest_id != keeper.pk or state_of(visit, now) != "open":
        return {}
    sheet = sheet_of(keeper.pk, visit, now)
    return {"sheet": sheet, "next": sheet.after(call.animal_id)}


@signed_in
def withdraw(request: HttpRequest, keeper: Keeper, call_id: UUID) -> HttpResponse:
    call = call_of(call_id)
    if call is None or call.by != keeper.pk:
        raise NotFound()
    form = WithdrawalForm(request.POST or None, call=call.pk)
    return _against(request, keeper, call, form, "Withdraw your call")


@signed_in
def object_to(request: HttpRequest, keeper: Keeper, call_id: UUID) -> HttpResponse:
    call = call_of(call_id)
    if call is None:
        raise NotFound()
    animal_open(keeper.pk, call.animal_id, timezone.now())
    form = ObjectionForm(request.POST or None, call=call.pk)
    return _against(request, keeper, call, form, "Object to a call")


def _against(
    request: HttpRequest, keeper: Keeper, call: Call, form: FactForm, heading: str
) -> HttpResponse:
    if form.is_valid():
        outcome = form.send(call.animal_id, actor_of(keeper))
        if outcome is not None:
            say_accepted(request, outcome)
            return redirect("accepted" if call.by == keeper.pk else "animal", _back(call, keeper))
    context = {"call": call, "method": METHODS[call.method].name, "heading": heading}
    return page(request, "calls/against.html", context, form)


def _back(call: Call, keeper: Keeper) -> UUID:
    return call.pk if call.by == keeper.pk else call.animal_id
