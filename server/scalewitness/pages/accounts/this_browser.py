"""The browser at hand as a device of its keeper: enrolled with a key of its own, it signs what is
sent on pages. The key is made there (``static/signing/``) and cannot leave it."""

from typing import Any

from django import forms
from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.intake.devices import enrol_browser
from scalewitness.pages.accounts.account import devices_shown
from scalewitness.pages.parts.access import actor_of, asked_again, page, signed_in
from scalewitness.pages.parts.facts import FactForm, new_id
from scalewitness.people.models import Keeper


class BrowserForm(FactForm):
    """``key``: the public key in hexadecimal, which the browser fills in."""

    kind = "device_key_enrolled"

    device = forms.UUIDField(widget=forms.HiddenInput, initial=new_id)
    key = forms.CharField(
        widget=forms.HiddenInput,
        error_messages={"required": "This browser has made no key, as it runs no script here."},
    )
    name = forms.CharField(
        label="What to call this browser",
        max_length=60,
        help_text="In your list of devices, such as “Browser at the desk”.",
    )

    def body(self) -> dict[str, Any]:
        return {"device": str(self.cleaned_data["device"]), "key": self.cleaned_data["key"]}


@asked_again
@signed_in
def show_this_browser(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    """Which of the devices it is, only the browser knows."""
    form = BrowserForm(request.POST or None)
    if form.is_valid() and _enrolled(form, keeper):
        messages.success(request, "This browser signs from now on.")
        return redirect("this_browser")
    shown = devices_shown(keeper)
    signing = (one for one in shown["devices"] if one["form"] and not one["recovery"])
    live = [one for one in signing if not one["device"].revoked_at]
    return page(request, "people/this_browser.html", shown | {"devices": live}, form)


def _enrolled(form: BrowserForm, keeper: Keeper) -> bool:
    """The device with its key, or neither."""
    given = form.cleaned_data
    with transaction.atomic():
        enrol_browser(keeper, given["device"], given["name"], timezone.now())
        taken = form.send(keeper.pk, actor_of(keeper)) is not None
        transaction.set_rollback(not taken)
    return taken
