"""How often pages may be asked for what could be guessed at.

A link that opens something is never refused: guessing one is hopeless, and keeping a buyer out
would cost more.
"""

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, Final, ParamSpec

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from scalewitness.people.models import Keeper
from scalewitness.rate_limit import address_of, one_too_many

P = ParamSpec("P")
ForKeeper = Callable[Concatenate[HttpRequest, Keeper, P], HttpResponse]

MOST: Final = 60
SECONDS: Final = 60
"""So many wrong links, or addresses, a minute (our judgement), as the API allows."""


def tried_too_often(request: HttpRequest) -> bool:
    """Counts one more wrong link; whether that is one too many."""
    return one_too_many(f"throttle_wrong_link_{address_of(request)}", MOST, SECONDS)


def takes_an_address(view: ForKeeper[P]) -> ForKeeper[P]:
    """For forms whose answer tells whether a keeper has confirmed an address."""

    @wraps(view)
    def answer(
        request: HttpRequest, keeper: Keeper, /, *args: P.args, **kwargs: P.kwargs
    ) -> HttpResponse:
        key = f"throttle_look_up_page_{keeper.pk}"
        if request.method != "POST" or not one_too_many(key, MOST, SECONDS):
            return view(request, keeper, *args, **kwargs)
        answer = render(request, "errors/asked_too_often.html", status=429)
        answer.headers["Retry-After"] = str(SECONDS)
        return answer

    return answer
