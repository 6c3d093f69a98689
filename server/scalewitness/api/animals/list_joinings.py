"""Whether an animal is on another record too, as its keepers say."""

from datetime import datetime
from typing import Annotated
from uuid import UUID

from django.utils import timezone
from msgspec import Struct
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.animals.models import Joining
from scalewitness.animals.queries import animal_of, for_steward
from scalewitness.animals.queries.joining import in_force, proposals_about
from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.words import one_of
from scalewitness.calls.queries.visibility import sights_of


class JoiningShown(Struct, frozen=True):
    """A proposal to join two records of one snake; or, where it ``parts``, to undo one. ``mine``:
    it was made about this animal. ``answer``: the last that was given; ``in_force``: it joins the
    two now; ``other``: the other animal, where the reader may see it whole."""

    id: UUID
    position: int
    at: datetime
    code: str
    parts: UUID | None
    mine: bool
    answer: Annotated[str, one_of("agrees", "refuses")] | None
    in_force: bool
    other: UUID | None


class Joinings(Struct, frozen=True):
    joinings: list[JoiningShown]


@operation("List proposals to join or part an animal", gives={200: Joinings})
def list_joinings(request: Request, id: UUID) -> Response:
    """In log order; for keeper and partners."""
    keeper, now = keeper_of(request).pk, timezone.now()
    animal = for_steward(animal_of(id), lambda one: one.collection, keeper, now)
    found = proposals_about(animal.pk)
    others = {_other(one, animal.pk) for one in found}
    seen = {one for one, sight in sights_of(keeper, others, now).items() if sight == "all"}
    return Response(Joinings([_shown(one, animal.pk, seen) for one in found]))


def _other(one: Joining, animal: UUID) -> UUID:
    return one.other_id if one.animal_id == animal else one.animal_id


def _shown(one: Joining, animal: UUID, seen: set[UUID]) -> JoiningShown:
    answers = sorted(one.answers.all(), key=lambda each: each.position)
    other = _other(one, animal)
    return JoiningShown(
        id=one.pk,
        position=one.position,
        at=one.at,
        code=one.code,
        parts=one.parts_id,
        mine=one.animal_id == animal,
        answer=("agrees" if answers[-1].agrees else "refuses") if answers else None,
        in_force=in_force(one),
        other=other if other in seen else None,
    )
