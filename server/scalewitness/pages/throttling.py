"""How often links that open nothing may be tried from one address. A link that opens something
is never refused: guessing one is hopeless, and keeping a buyer out would cost more."""

from typing import Final

from django.http import HttpRequest

from scalewitness.tries import address_of, one_too_many

MOST: Final = 60
SECONDS: Final = 60
"""So many wrong links a minute (our judgement), as the API allows."""


def tried_too_often(request: HttpRequest) -> bool:
    """Counts one more wrong link; whether that is one too many."""
    return one_too_many(f"throttle_wrong_link_{address_of(request)}", MOST, SECONDS)
