"""Letting a device in that shows a code."""

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.domain.errors import NotFound
from scalewitness.pages.parts.access import asked_again, page, signed_in
from scalewitness.people.models import Keeper
from scalewitness.rate_limit import address_of, one_too_many
from scalewitness.sign_in.services.handing_over import decide, waiting

MOST, SECONDS = 10, 600
"""Codes a keeper may try in the time that one lasts. Of the 25,600,000,000 there are, ten find
one that waits about never, and whoever mistypes is not stopped (our judgement)."""


class CodeForm(forms.Form):
    code = forms.CharField(
        label="The code that the device shows",
        max_length=20,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )
    answer = forms.CharField(required=False, widget=forms.HiddenInput)


@asked_again
@signed_in
def add_device(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    """First the code, then a look at what asks, then yes or no."""
    form = CodeForm(request.POST or None)
    if not form.is_valid():
        status = 422 if form.is_bound else 200
        return page(request, "people/add_device.html", {"form": form}, status=status)
    now, answer = timezone.now(), form.cleaned_data["answer"]
    try:
        if one_too_many(f"throttle_user_code_{keeper.pk}", MOST, SECONDS):
            raise NotFound("Too many attempts. Wait ten minutes.")
        asking = waiting(form.cleaned_data["code"], now)
        if answer not in {"yes", "no"}:
            shown = {"form": form, "asking": asking, "here": address_of(request)}
            return page(request, "people/confirm_device.html", shown)
        decide(asking, keeper, now, approved=answer == "yes")
    except NotFound as nothing:
        form.add_error("code", nothing.detail)
        return page(request, "people/add_device.html", {"form": form}, status=422)
    if answer == "yes":
        messages.success(
            request, f"“{asking.name}” is approved. It will show this in a few seconds."
        )
    else:
        messages.success(request, "Refused. It has no access.")
    return redirect("account")
