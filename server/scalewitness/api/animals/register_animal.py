"""A new animal."""

from typing import Any

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, FactAbout, begin
from scalewitness.domain.facts import AnimalRegistered


@operation(
    "Register an animal",
    takes=FactAbout[AnimalRegistered],
    gives=ANSWERS,
    refuses=FACT_REFUSALS,
    keyed=True,
)
def register_animal(request: Request) -> Response:
    """`about` is the new animal's id, made by the client. Its sex is never among what it is
    said to be: that takes calls."""
    sent = body_of(request, FactAbout[dict[str, Any]])
    return begin(request, sent).submit(
        "animal_registered",
        sent.about,
        body=sent.body,
        texts=sent.texts,
        location=reverse("api:animal", args=[sent.about]),
    )
