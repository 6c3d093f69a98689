"""Somebody without a share in it read the document of a call."""

from typing import Any
from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.calls.object_to_call import animal_seen
from scalewitness.api.operations import operation
from scalewitness.api.reading import Sent, body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact, begin, filled
from scalewitness.calls.queries.made import call_of
from scalewitness.domain.errors import NotAllowed
from scalewitness.domain.facts import Sha256


class DocumentBody(Sent, frozen=True, kw_only=True):
    """The SHA-256 of the file you read; it must be the one that the call names."""

    document: Sha256


@operation(
    "State that you read a call's document",
    takes=Fact[DocumentBody],
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, NotAllowed),
    keyed=True,
)
def confirm_document(request: Request, id: UUID) -> Response:
    """For whoever sees the animal whole and has no share in it, nor keeps animals with the
    sender. It says what the call says."""
    sent = body_of(request, Fact[dict[str, Any]])
    fact, found = begin(request, sent), call_of(id)
    return fact.submit(
        "document_read",
        fact.about(id, animal_seen(found, keeper_of(request).pk, fact.now)),
        body=filled(sent.body, call=str(id)),
        texts=sent.texts,
        location=reverse("api:call", args=[id]),
    )
