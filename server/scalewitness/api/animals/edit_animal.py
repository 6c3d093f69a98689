"""What a keeper writes on the rack: name, place, description, and whether to leave it be."""

from typing import Annotated
from uuid import UUID

from django.utils import timezone
from msgspec import UNSET, Meta, UnsetType, structs
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.animals.queries import is_steward
from scalewitness.animals.services import edit
from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.reading import (
    Sent,
    already_so,
    body_of,
    etag,
    version_wanted,
)
from scalewitness.api.shapes.animals import AnimalShown, animals
from scalewitness.calls.queries.visibility import animal_seen
from scalewitness.domain.errors import NotFound, OutOfRange
from scalewitness.intake.records import cleaned


class AnimalEdit(Sent, frozen=True, kw_only=True):
    """Only what is sent changes; an empty text clears. ``hold_off`` asks everyone to leave
    the animal alone and says no more, so that it tells a guest nothing."""

    name: Annotated[str, Meta(max_length=80)] | UnsetType = UNSET
    rack: Annotated[str, Meta(max_length=40)] | UnsetType = UNSET
    description: Annotated[str, Meta(max_length=2000)] | UnsetType = UNSET
    hold_off: bool | UnsetType = UNSET


@operation(
    "Edit an animal",
    takes=AnimalEdit,
    gives={200: AnimalShown},
    refuses=(OutOfRange,),
    edits=True,
)
def edit_animal(request: Request, id: UUID) -> Response:
    """For its keeper and partners. Earlier values stay in the history."""
    sent = structs.asdict(body_of(request, AnimalEdit))
    fields = cleaned("animals", {name: one for name, one in sent.items() if one is not UNSET})
    keeper, now = keeper_of(request), timezone.now()
    animal, _ = animal_seen(keeper.pk, id, now)
    if not is_steward(keeper.pk, animal.collection, now):
        raise NotFound()
    same = all(getattr(animal, name) == value for name, value in fields.items())
    if not already_so(request, animal.version, same):
        version = version_wanted(request, animal.version)
        edit(animal, fields, version=version, by=keeper, now=now)
    animal, sight = animal_seen(keeper.pk, id, now)
    shown = animals([(animal, sight)], keeper.pk, now)[0]
    return Response(shown, headers=etag(animal.version))
