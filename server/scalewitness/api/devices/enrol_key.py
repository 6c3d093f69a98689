"""Giving a device the key it signs facts with."""

from typing import Annotated
from uuid import UUID

from django.urls import reverse
from msgspec import Meta
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, At, FactId, Signable, begin
from scalewitness.domain import facts
from scalewitness.domain.errors import NotAllowed, NotFound
from scalewitness.people.queries import device_of


class KeyEnrolment(Signable, frozen=True, kw_only=True):
    """``key``: the Ed25519 public key, 32 bytes in hexadecimal. ``sig`` is by that very key
    over the fact `device_key_enrolled` about the keeper, with the body `{device, key}`."""

    id: FactId
    at: At
    key: Annotated[facts.PublicKey, Meta(description="Lower-case hexadecimal, 64 digits.")]
    sig: facts.Signature


@operation(
    "Enrol a device's key",
    takes=KeyEnrolment,
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, NotAllowed),
)
def enrol_key(request: Request, id: UUID) -> Response:
    """By the device itself, once: another key means another device. From then on facts it
    sends may carry its signature. The log keeps the key, so that anyone who may read its
    entries can check them."""
    sent, keeper = body_of(request, KeyEnrolment), keeper_of(request)
    if device_of(keeper.pk, id) is None:
        raise NotFound()
    return begin(request, sent).submit(
        "device_key_enrolled",
        keeper.pk,
        body={"device": str(id), "key": sent.key},
        flat=("body",),
        location=reverse("api:devices"),
    )
