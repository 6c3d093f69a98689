"""All of one's devices are lost, and only what they sign counts: giving notice, or the sheet."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.pages.accounts.recovering import ways
from scalewitness.pages.parts.access import actor_of, asked_again, page, signed_in
from scalewitness.pages.parts.facts import FactForm
from scalewitness.people.models import Keeper
from scalewitness.people.queries.own_word import ruled


class NoticeForm(FactForm):
    kind = "signing_notice_given"
    says = ""  # what somebody without a device states is not signed


@asked_again
@signed_in
def give_notice(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    form = NoticeForm(request.POST or None)
    if form.is_valid() and form.send(keeper.pk, actor_of(keeper, proved=True)) is not None:
        messages.success(request, "Your notice is on record. A letter tells you the day.")
        return redirect("account")
    context = {"keeper": keeper, "rule": ruled(keeper.pk, timezone.now()), **ways(keeper)}
    return page(request, "people/lost_devices.html", context, form)
