"""Whoever stated a trait takes it back."""

from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Bare, begin
from scalewitness.traits.queries import statement_of


@operation(
    "Withdraw a statement of a trait",
    takes=Bare,
    gives=ANSWERS,
    refuses=FACT_REFUSALS,
    keyed=True,
)
def withdraw_trait(request: Request, id: UUID) -> Response:
    """By whoever made it, also when they no longer see the animal. It stays visible, and counts
    for nothing. Text: `note`."""
    sent = body_of(request, Bare)
    fact, found = begin(request, sent), statement_of(id)
    own = found is not None and found.by == fact.actor.keeper
    animal = fact.about(id, found.animal_id if found and own else None)
    return fact.submit(
        "trait_withdrawn",
        animal,
        body={"stated": str(id)},
        texts=sent.texts,
        location=reverse("api:traits", args=[animal]),
    )
