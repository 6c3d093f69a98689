"""Uploads that are too large or come too often: refused before anything of them is looked at."""

from collections.abc import Callable
from typing import Final
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string

from scalewitness.domain.errors import TooLarge
from scalewitness.domain.pictures.reencoding import LARGEST_UPLOAD
from scalewitness.rate_limit import one_too_many

LARGEST_BODY: Final = LARGEST_UPLOAD + 100_000
"""Bytes of a request; nothing is larger than a form with one picture (our judgement)."""
MOST: Final = 120
SECONDS: Final = 60
"""So many pictures a minute of one keeper (our judgement), as the API takes from a device."""

Answer = Callable[[HttpRequest], HttpResponse]


class RefuseLargeBodies:
    """Before the form is read, which would store all of it in a file. The API says by itself what
    it takes."""

    def __init__(self, answer: Answer) -> None:
        self._answer = answer

    def __call__(self, request: HttpRequest) -> HttpResponse:
        length = str(request.META.get("CONTENT_LENGTH") or "0")
        large = length.isdigit() and int(length) > LARGEST_BODY
        if not large or request.path.startswith("/api/"):
            return self._answer(request)
        context = {"most": LARGEST_UPLOAD // 1_000_000}
        text = render_to_string("errors/too_large.html", context)
        return HttpResponse(text, status=TooLarge.status)


def sent_too_often(keeper: UUID) -> bool:
    """Counts one more picture; whether that is one too many."""
    return one_too_many(f"throttle_photos_page_{keeper}", MOST, SECONDS)


def too_many_pictures(request: HttpRequest) -> HttpResponse:
    """The answer to one too many."""
    response = render(request, "errors/too_often.html", {"most": MOST}, status=429)
    response.headers["Retry-After"] = str(SECONDS)
    return response
