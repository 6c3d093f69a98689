"""How often links that open nothing may be tried from one address. A link that opens something
is never refused: guessing one is hopeless, and keeping a buyer out would cost more."""

from typing import Final

from django.conf import settings
from django.http import HttpRequest

from scalewitness.tries import one_too_many

MOST: Final = 60
SECONDS: Final = 60
"""So many wrong links a minute (our judgement), as the API allows."""


def tried_too_often(request: HttpRequest) -> bool:
    """Counts one more wrong link; whether that is one too many. While the queue server is away
    nothing is counted."""
    key = f"throttle_wrong_link_{address_of(request)}"
    return one_too_many("wrong_link", key, MOST, SECONDS)


def address_of(request: HttpRequest) -> str:
    """Where a request came from, as the last proxy of ours saw it."""
    proxies: int = settings.TRUSTED_PROXIES
    forwarded = request.META.get("HTTP_X_FORWARDED_FOR", "").split(",")
    if proxies and forwarded != [""]:
        return str(forwarded[-min(proxies, len(forwarded))]).strip()
    return str(request.META.get("REMOTE_ADDR", ""))
