"""Erasing what one wrote, where it shows."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme

from scalewitness.domain.errors import NotFound
from scalewitness.intake.erasure import erase_own_texts
from scalewitness.ledger.queries.entries import entry_of, texts_of
from scalewitness.pages.parts.access import actor_of, asked_again, page, signed_in
from scalewitness.people.models import Keeper


@asked_again
@signed_in
def erase(request: HttpRequest, keeper: Keeper, fact_id: UUID) -> HttpResponse:
    """Asked once more before it is done: nothing brings a text back."""
    back = _back(request)
    if request.method == "POST":
        erase_own_texts(fact_id, actor_of(keeper, proved=True), timezone.now())
        messages.success(request, "The text is erased.")
        return redirect(back)
    entry = entry_of(fact_id)
    if entry is None or entry.by != keeper.pk:
        raise NotFound()
    texts = [text for _, text in sorted(texts_of([fact_id]).items())]
    return page(request, "texts/erase.html", {"texts": texts, "back": back, "entry": entry})


def _back(request: HttpRequest) -> str:
    """The page it was asked from, if that is one of ours."""
    asked = request.GET.get("back", "")
    ours = url_has_allowed_host_and_scheme(asked, allowed_hosts=None)
    return asked if ours and asked.startswith("/") else "/"
