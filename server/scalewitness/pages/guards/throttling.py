"""How often pages may be asked for what could be guessed at."""

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, Final, ParamSpec

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from scalewitness.guessing import WRONG_LINKS, one_link_too_many
from scalewitness.pages.parts.picking import is_search
from scalewitness.people.models import Keeper
from scalewitness.rate_limit import address_of, one_too_many

P = ParamSpec("P")
ForKeeper = Callable[Concatenate[HttpRequest, Keeper, P], HttpResponse]

MOST: Final = 60
SECONDS: Final = 60
"""So many addresses a minute (our judgement), as the API allows."""


def takes_an_address(view: ForKeeper[P]) -> ForKeeper[P]:
    """For forms whose answer tells whether a keeper has confirmed an address."""

    @wraps(view)
    def answer(
        request: HttpRequest, keeper: Keeper, /, *args: P.args, **kwargs: P.kwargs
    ) -> HttpResponse:
        key = f"throttle_look_up_page_{keeper.pk}"
        asked = request.method == "POST" and not is_search(request)
        if not asked or not one_too_many(key, MOST, SECONDS):
            return view(request, keeper, *args, **kwargs)
        answer = render(request, "errors/asked_too_often.html", status=429)
        answer.headers["Retry-After"] = str(SECONDS)
        return answer

    return answer


def opens_nothing(request: HttpRequest, shown: Callable[..., HttpResponse]) -> HttpResponse:
    """The answer to a link that opens nothing, which counts for the address that it is asked from;
    ``shown`` takes its status."""
    if not one_link_too_many(address_of(request)):
        return shown(status=404)
    answer = shown(status=429)
    answer.headers["Retry-After"] = str(WRONG_LINKS.seconds)
    return answer
