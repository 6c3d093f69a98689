"""A key on paper, for when all of a keeper's devices are lost."""

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
from scalewitness.intake.batch import Actor


class RecoveryKeyEnrolment(Signable, frozen=True, kw_only=True):
    """``key``: the Ed25519 public key, 32 bytes in hexadecimal. ``sig`` is by that very key over
    the fact `device_key_enrolled` about the keeper, as of the device that the path names, with the
    body `{device, key, recovery: true}`."""

    id: FactId
    at: At
    key: Annotated[facts.PublicKey, Meta(description="Lower-case hexadecimal, 64 digits.")]
    sig: facts.Signature


@operation(
    "Enrol a recovery key",
    takes=RecoveryKeyEnrolment,
    gives=ANSWERS,
    refuses=FACT_REFUSALS,
)
def enrol_recovery_key(request: Request, id: UUID) -> Response:
    """The client makes key and id, and prints the private half; the server never has it. The key
    is listed among the devices. It counts once a device whose key is the keeper's own word
    endorsed it."""
    sent, keeper = body_of(request, RecoveryKeyEnrolment), keeper_of(request)
    return begin(request, sent, Actor(keeper=keeper.pk, device=id)).submit(
        "device_key_enrolled",
        keeper.pk,
        body={"device": str(id), "key": sent.key, "recovery": True},
        flat=("body",),
        location=reverse("api:devices"),
    )
