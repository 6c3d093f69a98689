"""A recovery key on paper: made in the browser, and used there when all devices are lost."""

import json
from typing import Any, Final
from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.domain.translog.signatures import fingerprint
from scalewitness.intake.batch import Actor
from scalewitness.pages.parts.access import asked_again, page, post_or_go, signed_in
from scalewitness.pages.parts.facts import FactForm
from scalewitness.people.models import Keeper
from scalewitness.people.queries import devices_of, recovery_key_of
from scalewitness.people.queries.own_word import by_password_only, has_own, ruled

HIDDEN: Final = forms.HiddenInput
DONE: Final = {
    "signatures_required": "Facts count in your name without a signature again.",
    "device_key_endorsed": "The new device is endorsed as yours.",
    "device_revoked": "It is revoked: it signs nothing any more.",
}


class SignedForm(FactForm):
    """What the browser signed with a recovery key; ``device``: the id that the key goes by."""

    device = forms.UUIDField(widget=HIDDEN)
    sig = forms.CharField(widget=HIDDEN, max_length=100)

    def item(self, about: UUID) -> dict[str, Any]:
        return super().item(about) | {"sig": self.cleaned_data["sig"]}

    def send_for(self, keeper: Keeper) -> bool:
        """Whether the record took it."""
        sender = Actor(keeper=keeper.pk, device=self.cleaned_data["device"], proved=True)
        return self.send(keeper.pk, sender) is not None


class MakingForm(SignedForm):
    kind = "device_key_enrolled"
    key = forms.CharField(widget=HIDDEN, max_length=64)

    def body(self) -> dict[str, Any]:
        return {
            "device": str(self.cleaned_data["device"]),
            "key": self.cleaned_data["key"],
            "recovery": True,
        }


class UsingForm(SignedForm):
    """``kind`` and ``body`` are the option that was chosen, as the page offered it."""

    kind = ""
    chosen = forms.ChoiceField(widget=HIDDEN, choices=[(one, one) for one in DONE])
    stated = forms.JSONField(widget=HIDDEN)

    def body(self) -> dict[str, Any]:
        found: dict[str, Any] = self.cleaned_data["stated"]
        return found

    def item(self, about: UUID) -> dict[str, Any]:
        return super().item(about) | {"kind": self.cleaned_data["chosen"]}


@asked_again
@signed_in
def make(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    form = MakingForm(request.POST or None)
    if form.is_valid() and form.send_for(keeper):
        messages.success(
            request, "The key is enrolled. It counts once a device of yours endorses it: see below."
        )
        return redirect("account")
    context = {"keeper": keeper, "can": has_own(keeper.pk)}
    return page(request, "people/recovery_key.html", context, form)


@post_or_go("lost_devices", of_it=False)
@asked_again
@signed_in
def use(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    form = UsingForm(request.POST)
    if form.is_valid() and _is_sheet(form, keeper) and form.send_for(keeper):
        messages.success(request, DONE[form.cleaned_data["chosen"]])
        return redirect("account")
    problem = form.problem["detail"] if form.problem else "The browser sent no signature."
    messages.error(request, problem)
    return redirect("lost_devices")


def _is_sheet(form: SignedForm, keeper: Keeper) -> bool:
    return recovery_key_of(keeper.pk, form.cleaned_data["device"]) is not None


def ways(keeper: Keeper) -> dict[str, Any]:
    """For the page: the form, the recovery keys that count, and what may be stated with one."""
    found = [one for one in devices_of(keeper) if hasattr(one, "key")]
    lasting = [one for one in found if not hasattr(one.key, "end")]
    weak = by_password_only(one.pk for one in lasting)
    sheets = [one for one in lasting if one.key.recovery and one.pk not in weak]
    if not sheets:
        return {"using": None}
    return {
        "using": UsingForm(auto_id=False),
        "sheets": json.dumps([{"device": str(one.pk), "key": one.key.public} for one in sheets]),
        "lifts": ruled(keeper.pk, timezone.now()).required,
        "waiting": [
            {
                "device": one,
                "fingerprint": fingerprint(bytes.fromhex(one.key.public)),
                "body": json.dumps({"device": str(one.pk), "key": one.key.public}),
            }
            for one in lasting
            if one.pk in weak and not one.key.recovery
        ],
        "lost": [
            {"device": one, "body": json.dumps({"device": str(one.pk)})}
            for one in lasting
            if not one.key.recovery
        ],
    }
