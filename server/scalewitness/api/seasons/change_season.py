"""The plan of a season is changed at once: a proposal taken up, or one's own."""

from typing import Annotated, Any, Literal
from uuid import UUID

from django.utils import timezone
from msgspec import Meta, field, to_builtins
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import actor_of
from scalewitness.api.collections.access import season_of_own
from scalewitness.api.operations import operation
from scalewitness.api.push import Outcomes
from scalewitness.api.reading import Sent, body_of
from scalewitness.api.submission import At, FactId, Texts
from scalewitness.domain import facts
from scalewitness.domain.errors import NotNow
from scalewitness.intake.season_changes import change_plan
from scalewitness.intake.services import accept


class PlanItem(Sent, frozen=True, kw_only=True):
    """A pairing that is planned, or dropped."""

    id: FactId
    kind: Literal["pairing_planned", "pairing_dropped"]
    at: At
    about: facts.Id
    body: dict[str, Any]
    texts: Texts = field(default_factory=dict)
    sig: facts.Signature | None = None


class SeasonChange(Sent, frozen=True, kw_only=True):
    """``read``: every pairing of the season as it was read."""

    read: list[UUID]
    items: Annotated[list[PlanItem], Meta(min_length=1, max_length=200)]


@operation(
    "Change the plan of a season",
    takes=SeasonChange,
    gives={200: Outcomes},
    refuses=(NotNow,),
    takes_turn=True,
)
def change_season(request: Request, id: UUID, year: int) -> Response:
    """All of it or nothing: where an item is refused the others are not stated either, and where
    the plan is no longer what was read none is. Sending the same again is safe."""
    sent = body_of(request, SeasonChange)
    collection, now = season_of_own(request, id, year), timezone.now()
    items = [to_builtins(one) for one in sent.items]
    found = change_plan(items, sent.read, (collection.pk, year), actor_of(request), now, accept)
    return Response(Outcomes(found))
