"""Signing out everywhere, by the link in a letter about the account.

Opening the link changes nothing, since programs that look through mail open links; its button
does. The page carries no CSRF token, as the buyers' pages do not: the link is the only key.
"""

from collections.abc import Callable
from functools import partial, wraps
from typing import TypeAlias

from django.core.signing import BadSignature
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.cache import add_never_cache_headers
from django.views.decorators.csrf import csrf_exempt

from scalewitness.intake.devices import sign_out_everywhere
from scalewitness.mail.services.links import keeper_signing_out
from scalewitness.pages.guards.throttling import opens_nothing
from scalewitness.pages.parts.access import page
from scalewitness.people.models import Keeper
from scalewitness.people.queries import devices_of, keeper_of

View: TypeAlias = Callable[[HttpRequest, Keeper], HttpResponse]


def by_letter(view: View) -> Callable[[HttpRequest, str], HttpResponse]:
    """Open a live link; anything else is one plain page that says it opens nothing."""

    @csrf_exempt
    @wraps(view)
    def answer(request: HttpRequest, token: str) -> HttpResponse:
        keeper = _keeper(token)
        response = view(request, keeper) if keeper else _gone(request)
        response["Referrer-Policy"] = "no-referrer"
        add_never_cache_headers(response)
        return response

    return answer


def _keeper(token: str) -> Keeper | None:
    try:
        return keeper_of(keeper_signing_out(token))
    except BadSignature:
        return None


def _gone(request: HttpRequest) -> HttpResponse:
    return opens_nothing(request, partial(page, request, "people/sign_out_gone.html"))


@by_letter
def sign_out(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    if request.method == "POST":
        ended = sign_out_everywhere(keeper, timezone.now())
        return page(request, "people/signed_out.html", {"ended": ended})
    devices = devices_of(keeper).filter(revoked_at=None)
    return page(request, "people/sign_out.html", {"devices": list(devices)})
