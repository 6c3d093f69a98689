"""Erasing what one wrote."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.second_factor import proved_actor
from scalewitness.intake.erasure import erase_own_texts


@operation("Erase the free text of a fact of mine", gives={204: None}, grave=True)
def erase_texts(request: Request, id: UUID) -> Response:
    """The fact stays on record with the fingerprint of its text, so that every receipt still
    holds; the text itself is gone for good. Doing it twice changes nothing. A keeper with a
    second factor sends a code with it, or does it on the site's pages."""
    erase_own_texts(id, proved_actor(request), timezone.now())
    return Response(status=204)
