"""Letting another keeper see a collection, or part of it."""

from dataclasses import replace
from typing import Any

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.second_factor import proved_actor
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, FactAbout, begin
from scalewitness.domain.facts import GrantGiven


@operation(
    "Give a grant",
    takes=FactAbout[GrantGiven],
    gives=ANSWERS,
    refuses=FACT_REFUSALS,
    keyed=True,
    grave=True,
)
def give_grant(request: Request) -> Response:
    """`about` is a collection of one's own. To make somebody a partner, a keeper with a second
    factor sends a code with it, or does it on the site's pages."""
    sent = body_of(request, FactAbout[dict[str, Any]])
    fact = begin(request, sent)
    if sent.body.get("role") == "partner" and fact.earlier is None:  # a repeat has no other code
        fact = replace(fact, actor=proved_actor(request))
    return fact.submit("grant_given", sent.about, body=sent.body, location=reverse("api:grants"))
