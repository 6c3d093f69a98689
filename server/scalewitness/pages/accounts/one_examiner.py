"""Where a finding says that one's own account and another are one person's, and objecting to it."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.domain.errors import Refused
from scalewitness.letters.one_person import as_known
from scalewitness.pages.parts.access import page, signed_in
from scalewitness.people.models import Keeper, NamedAsOne
from scalewitness.people.queries import named
from scalewitness.people.services import object_to_being_one


class TwoPeopleForm(forms.Form):
    """Says no more than that they are two people: the operator asks both."""

    named = forms.UUIDField(widget=forms.HiddenInput)


@signed_in
def show_named(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    form = TwoPeopleForm(request.POST or None)
    if form.is_valid():
        return _object(request, keeper, form)
    rows = [_row(one, keeper) for one in named(keeper.pk)]
    return page(request, "people/one_examiner.html", {"rows": rows})


def _object(request: HttpRequest, keeper: Keeper, form: TwoPeopleForm) -> HttpResponse:
    try:
        object_to_being_one(keeper.pk, form.cleaned_data["named"], timezone.now())
    except Refused as refused:
        messages.error(request, refused.detail)
    else:
        messages.success(request, "Your objection waits for the operator, who writes to you.")
    return redirect("one_examiner")


def _row(one: NamedAsOne, keeper: Keeper) -> dict[str, Any]:
    return {
        "named": one,
        "animal": as_known(one, keeper),
        "may_object": one.objected_at is None and one.lifted_at is None,
    }
