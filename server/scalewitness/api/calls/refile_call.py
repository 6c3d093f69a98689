"""A check that was of another animal than it was filed on."""

from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Bare, begin
from scalewitness.calls.queries.made import call_of
from scalewitness.intake.rules.refiling import bearer_of


@operation("Refile a call", takes=Bare, gives=ANSWERS, refuses=FACT_REFUSALS, keyed=True)
def refile_call(request: Request, id: UUID) -> Response:
    """For whoever sent it, where the transponder read was not the animal's but that of one other
    they might have checked then. It counts there under this fact's id; the call stays where it
    was made. There is nothing here where the code names no such animal."""
    sent = body_of(request, Bare)
    fact, found = begin(request, sent), call_of(id)
    own = found is not None and found.by == fact.actor.keeper
    bearer = bearer_of(found, fact.now) if found and own else None
    return fact.submit(
        "call_refiled",
        fact.about(id, bearer.pk if bearer else None),
        body={"call": str(id)},
        texts=sent.texts,
        location=reverse("api:call", args=[fact.id]),
    )
