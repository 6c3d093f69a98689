"""Being named as one person with another account, as shown to either."""

from datetime import datetime
from uuid import UUID

from msgspec import Struct

from scalewitness.people.models import NamedAsOne


class NamedShown(Struct, frozen=True):
    """``objected_at``: one of both says that they are two people; ``counts_from``: they count as
    one examiner of the animal since; ``lifted_at``: the operator found that they are two."""

    id: UUID
    animal: UUID
    named_at: datetime
    objected_at: datetime | None
    counts_from: datetime | None
    lifted_at: datetime | None


class Namings(Struct, frozen=True):
    items: list[NamedShown]


def named_as_one(one: NamedAsOne) -> NamedShown:
    return NamedShown(one.pk, one.animal, one.at, one.objected_at, one.counts_from, one.lifted_at)
