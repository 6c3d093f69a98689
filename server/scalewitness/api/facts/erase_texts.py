"""Erasing what one wrote."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.intake.batch import Actor
from scalewitness.intake.erasure import erase_own_texts


@operation("Erase the free text of a fact of mine", gives={204: None})
def erase_texts(request: Request, id: UUID) -> Response:
    """The fact stays on record with the fingerprint of its text, so that every receipt still
    holds; the text itself is gone for good. Doing it twice changes nothing."""
    erase_own_texts(id, Actor(keeper=keeper_of(request).pk))
    return Response(status=204)
