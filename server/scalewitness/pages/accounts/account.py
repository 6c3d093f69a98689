"""The account: one's name, devices, and who has access to what."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID
from zoneinfo import available_timezones

from django import forms
from django.conf import settings
from django.contrib import messages
from django.db.models import prefetch_related_objects
from django.forms.models import model_to_dict
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.animals.models import Collection
from scalewitness.animals.queries import animals_of, collection_of_grant, collections_of, title_of
from scalewitness.animals.queries.grants import Wait, waits_of
from scalewitness.domain.errors import NotAllowed, NotFound, VersionStale
from scalewitness.domain.translog.signatures import fingerprint
from scalewitness.intake.devices import revoke_device
from scalewitness.pages.collections.collection import stewarded
from scalewitness.pages.guards.throttling import takes_an_address
from scalewitness.pages.parts.access import actor_of, asked_again, page, post_or_go, signed_in
from scalewitness.pages.parts.facts import FactForm, retype
from scalewitness.pages.parts.picking import picked
from scalewitness.pages.parts.qr import qr
from scalewitness.pages.parts.somebody import known_people
from scalewitness.pages.parts.stating import is_signed
from scalewitness.pages.visits.forms import GrantForm
from scalewitness.people import services
from scalewitness.people.models import Device, Grant, Keeper
from scalewitness.people.queries import (
    devices_of,
    grant_of,
    grants_given,
    grants_held,
    has_verified_address,
)
from scalewitness.people.queries.own_word import by_password_only, ruled


def zones() -> list[tuple[str, str]]:
    """Those named for a place, as the zone database has them, and the record's own."""
    places = (one for one in available_timezones() if "/" in one and not one.startswith("Etc/"))
    own = ("", f"The record’s own ({settings.LOCAL_TIME_ZONE})")
    return [own, ("UTC", "UTC"), *((one, one.replace("_", " ")) for one in sorted(places))]


class NameForm(forms.Form):
    version = forms.IntegerField(widget=forms.HiddenInput)
    name = forms.CharField(
        label="Your name",
        max_length=80,
        help_text="Other keepers see it beside your calls; buyers do not. It is not in the log.",
    )


class HabitsForm(forms.Form):
    time_zone = forms.ChoiceField(
        label="Your time zone",
        required=False,
        choices=zones,
        help_text="Pages, papers and letters give times in it. Exports and receipts stay in UTC.",
        widget=forms.Select(attrs={"data-browsers-zone": ""}),
    )
    day_style = forms.ChoiceField(
        label="Days are written",
        required=False,
        choices=[
            ("", "25 November 2026"),
            ("month_first", "November 25, 2026"),
            ("iso", "2026-11-25"),
        ],
    )
    weight_unit = forms.ChoiceField(
        label="Weights",
        required=False,
        choices=[("", "Grams"), ("ounces", "Ounces")],
        help_text="The record keeps grams, to a tenth.",
    )

    @classmethod
    def of(cls, keeper: Keeper) -> "HabitsForm":
        """As the keeper chose."""
        return cls(initial=model_to_dict(keeper, list(cls.base_fields)))


class RevocationForm(FactForm):
    """One button a grant, hence no element ids."""

    kind = "grant_revoked"

    def __init__(self, *args: Any, grant: UUID, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.auto_id = False
        self.grant = grant

    def body(self) -> dict[str, Any]:
        return {"grant": str(self.grant)}


class DeviceEndForm(FactForm):
    """One button a device, hence no element ids. Only a browser that signs states it; else the
    record sees to it."""

    kind = "device_revoked"

    def __init__(self, *args: Any, device: UUID, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.auto_id = False
        self.device = device

    def body(self) -> dict[str, Any]:
        return {"device": str(self.device)}


@signed_in
def show_account(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    form = NameForm(request.POST or None, initial={"name": keeper.name, "version": keeper.version})
    status = 200
    if form.is_valid():
        name, version = form.cleaned_data["name"], form.cleaned_data["version"]
        try:
            services.rename(keeper, name=name, version=version, now=timezone.now())
        except VersionStale:
            form.add_error("name", f"It was changed meanwhile, to “{keeper.name}”.")
            retype(form, "version", str(keeper.version))
            status = 412
        else:
            messages.success(request, "Your name is changed.")
            return redirect("account")
    context = {
        "form": form,
        "keeper": keeper,
        "habits": HabitsForm.of(keeper),
        "verified": has_verified_address(keeper),
        **devices_shown(keeper),
        **_grants(keeper),
    }
    status = 422 if form.errors and status == 200 else status
    return page(request, "people/account.html", context, status=status)


def devices_shown(keeper: Keeper) -> dict[str, Any]:
    found = list(devices_of(keeper))
    weak = by_password_only(one.pk for one in found)
    rows = [_device(one, compare=one.pk in weak) for one in found]
    return {"devices": rows, "rule": ruled(keeper.pk, timezone.now())}


def _device(device: Device, *, compare: bool) -> dict[str, Any]:
    """``compare``: nothing but the password stands for its key, so that it is to be compared."""
    key = bytes.fromhex(device.key.public) if hasattr(device, "key") else None
    recovery = key is not None and device.key.recovery
    shown = fingerprint(key) if key else None
    return {
        "device": device,
        "by_password_only": compare,
        "fingerprint": shown,
        "code": qr(shown, title="QR code of the key above it") if shown and compare else "",
        "recovery": recovery,
        "form": DeviceEndForm(device=device.pk) if key else None,
    }


def _grants(keeper: Keeper) -> dict[str, Any]:
    own = collections_of(keeper.pk)
    given, held = grants_given([one.pk for one in own]), grants_held(keeper.pk)
    known = Collection.objects.filter(pk__in={one.collection for one in [*given, *held]})
    names = {one.pk: one for one in known.select_related("keeper")}
    waits = waits_of([*given, *held], timezone.now())
    awaited = animals_of({one for wait in waits.values() for one in wait.animals}).values()
    prefetch_related_objects(list(awaited), "identifiers")
    titles = {one.pk: title_of(one) for one in awaited}
    return {
        "collections": own,
        "given": [_grant(one, names, waits.get(one.pk), titles) for one in given],
        "held": [_grant(one, names, waits.get(one.pk), {}) for one in held],
    }


def _grant(
    grant: Grant,
    collections: Mapping[UUID, Collection],
    wait: Wait | None,
    titles: Mapping[UUID, str],
) -> dict[str, Any]:
    """``titles``: of animals, for who gave it; whoever holds it goes by their sheet."""
    state = _state(grant)
    waits = wait if state == "in force" else None
    return {
        "grant": grant,
        "collection": collections.get(grant.collection),
        "state": "waits" if waits else state,
        "form": RevocationForm(grant=grant.pk) if state == "in force" else None,
        "wait": waits,
        "awaited": sorted(titles[one] for one in waits.animals) if waits and titles else [],
        "visits": [RevocationForm(grant=one) for one in sorted(waits.visits)] if waits else [],
    }


def _state(grant: Grant) -> str:
    if hasattr(grant, "end"):
        return "ended"
    return "over" if grant.closes and grant.closes <= timezone.now() else "in force"


@post_or_go("account", of_it=False)
@signed_in
def revoke(request: HttpRequest, keeper: Keeper, device_id: UUID) -> HttpResponse:
    form = DeviceEndForm(request.POST, device=device_id)
    if is_signed(request) and form.is_valid():
        form.send(keeper.pk, actor_of(keeper))  # whatever becomes of it, the device is signed out
    try:
        revoke_device(keeper, device_id, actor_of(keeper), timezone.now())
        messages.success(request, "That device is signed out.")
    except NotAllowed as refused:
        messages.error(request, refused.detail)
    return redirect("account")


@asked_again
@signed_in
@takes_an_address
def give_access(request: HttpRequest, keeper: Keeper, collection_id: UUID) -> HttpResponse:
    collection = stewarded(keeper, collection_id)
    form = picked(request, GrantForm, known_people(keeper))
    if form.is_valid():
        outcome = form.send(collection.pk, actor_of(keeper, proved=True))
        if outcome is not None:
            messages.success(request, _given(UUID(outcome.id)))
            return redirect("account")
    return page(request, "people/give_access.html", {"collection": collection}, form)


def _given(grant_id: UUID) -> str:
    grant = grant_of(grant_id)
    if grant is not None and waits_of([grant], timezone.now()):
        return "They have access once their blind check is in; see below."
    return "They have access now."


@post_or_go("account", of_it=False)
@signed_in
def end_grant(request: HttpRequest, keeper: Keeper, grant_id: UUID) -> HttpResponse:
    collection = collection_of_grant(grant_of(grant_id), keeper.pk)
    if collection is None:
        raise NotFound()
    form = RevocationForm(request.POST, grant=grant_id)
    if form.is_valid() and form.send(collection, actor_of(keeper)) is not None:
        messages.success(request, "The grant has ended; nothing more is shown or sent.")
    elif form.problem:
        messages.error(request, form.problem["detail"])
    return redirect("account")


@post_or_go("account", of_it=False)
@signed_in
def choose_habits(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    form = HabitsForm(request.POST)
    if form.is_valid():
        services.choose_habits(keeper, **form.cleaned_data)
        messages.success(request, "Times, days and weights are written so from now on.")
    else:
        messages.error(request, "That is none of the choices. Nothing was changed.")
    return redirect("account")


@post_or_go("home", of_it=False)
@signed_in
def take_browsers_zone(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    """What Today offers where none was chosen."""
    zone = request.POST.get("time_zone", "")
    if zone in dict(zones()):
        services.choose_habits(keeper, time_zone=zone)
        messages.success(request, f"Times are shown as in {zone}. Your account changes it.")
    else:
        messages.error(request, "The record knows no such time zone. Choose one on your account.")
    return redirect("home")


@post_or_go("account", of_it=False)
@signed_in
def choose_digest(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    services.want_digest(keeper, wanted=request.POST.get("wanted") == "yes")
    return redirect("account")
