"""What a keeper whose devices are all lost states with the key on paper."""

from typing import Annotated, Any, Literal
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
from scalewitness.intake.batch import Actor
from scalewitness.people.queries import recovery_key_of

Recovering = Literal["signatures_required", "device_key_endorsed", "device_revoked"]


class RecoveryStatement(Signable, frozen=True, kw_only=True):
    """``sig`` is by the recovery key over the fact of this ``kind`` about the keeper, as of the
    device that the path names. Of `signatures_required` only with `{required: false}`."""

    id: FactId
    at: At
    kind: Recovering
    body: Annotated[dict[str, Any], Meta(description="As a fact of this kind has it.")]
    sig: facts.Signature


@operation(
    "State something with a recovery key",
    takes=RecoveryStatement,
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, NotAllowed),
)
def state_by_recovery_key(request: Request, id: UUID) -> Response:
    """That nothing has to be signed any more, that a device is the keeper's, or that one is lost:
    at once, by whoever is signed in and has the sheet. A letter tells of it."""
    sent, keeper = body_of(request, RecoveryStatement), keeper_of(request)
    if recovery_key_of(keeper.pk, id) is None:
        raise NotFound()
    return begin(request, sent, Actor(keeper=keeper.pk, device=id)).submit(
        sent.kind, keeper.pk, body=sent.body, location=reverse("api:devices")
    )
