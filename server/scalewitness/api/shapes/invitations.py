"""Invitations by letter, to whoever wrote them and to whom they were written."""

from collections.abc import Iterable
from datetime import datetime
from typing import Annotated
from uuid import UUID

from msgspec import Struct

from scalewitness.api.shapes.people import Person, person
from scalewitness.api.shapes.words import one_of
from scalewitness.people.models import Keeper
from scalewitness.visits.models import InvitationByLetter


class InvitationShown(Struct, frozen=True):
    """``email``, ``animals``, ``collection`` and ``letter`` are for the host: whether a letter goes
    to the address, which gets few. Nothing here says whether the address has an account.
    Accepted, it is the visit of the same id."""

    id: UUID
    host: Person
    email: str | None
    collection: UUID | None
    animals: list[UUID] | None
    count: int
    opens: datetime
    closes: datetime
    blind: bool
    invited_at: datetime
    state: Annotated[str, one_of("waiting", "declined")]
    letter: bool | None


class Invitations(Struct, frozen=True):
    items: list[InvitationShown]


def invitation(one: InvitationByLetter, reader: Keeper) -> InvitationShown:
    hosting = one.host_id == reader.pk
    return InvitationShown(
        id=one.pk,
        host=person(one.host),
        email=one.email if hosting else None,
        collection=one.collection_id if hosting else None,
        animals=[UUID(animal) for animal in one.animals] if hosting else None,
        count=len(one.animals),
        opens=one.opens,
        closes=one.closes,
        blind=one.blind,
        invited_at=one.invited_at,
        state="declined" if one.declined_at else "waiting",
        letter=one.letter_owed if hosting else None,
    )


def invitations(found: Iterable[InvitationByLetter], reader: Keeper) -> Invitations:
    return Invitations([invitation(one, reader) for one in found])
