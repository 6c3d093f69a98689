"""A check that was of another animal than it was filed on, as its examiner says so."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.calls.queries.made import call_of
from scalewitness.domain.errors import NotFound
from scalewitness.domain.methods import METHODS
from scalewitness.intake.rules.refiling import bearer_of
from scalewitness.pages.animals.animal import blind_title
from scalewitness.pages.parts.access import actor_of, page, say_accepted, signed_in
from scalewitness.pages.parts.facts import FactForm
from scalewitness.people.models import Keeper


class RefilingForm(FactForm):
    kind = "call_refiled"

    def __init__(self, *args: Any, call: UUID, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.call = call

    def body(self) -> dict[str, Any]:
        return {"call": str(self.call)}


@signed_in
def refile(request: HttpRequest, keeper: Keeper, call_id: UUID) -> HttpResponse:
    """Both animals by a code: a blind guest is told no name."""
    call = call_of(call_id)
    if call is None or call.by != keeper.pk:
        raise NotFound()
    if hasattr(call, "refiled"):  # sent twice
        return redirect("accepted", call.refiled.pk)
    bearer = bearer_of(call, timezone.now())
    if bearer is None:
        raise NotFound()
    form = RefilingForm(request.POST or None, call=call.pk)
    if form.is_valid():
        outcome = form.send(bearer.pk, actor_of(keeper))
        if outcome is not None:
            say_accepted(request, outcome)
            return redirect("accepted", outcome.id)
    context = {
        "call": call,
        "method": METHODS[call.method].name,
        "code": call.body["identified"]["code"],
        "filed": blind_title(call.animal),
        "bearer": blind_title(bearer),
    }
    return page(request, "calls/refiling.html", context, form)
