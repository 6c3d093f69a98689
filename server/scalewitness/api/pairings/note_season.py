"""What was seen of a pairing."""

from typing import Any
from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact, begin
from scalewitness.domain.facts import SeasonNoted


@operation(
    "Note what was seen of a pairing",
    takes=Fact[SeasonNoted],
    gives=ANSWERS,
    refuses=FACT_REFUSALS,
    keyed=True,
)
def note_season(request: Request, id: UUID) -> Response:
    """For the keepers and partners of either animal, unless they are to check the other one blind.
    `on` is the day on which it was seen; what nobody counted is left out. Each may note the same
    laying: it counts once."""
    sent = body_of(request, Fact[dict[str, Any]])
    fact = begin(request, sent)
    return fact.submit("season_noted", id, body=sent.body, location=reverse("api:pairings"))
