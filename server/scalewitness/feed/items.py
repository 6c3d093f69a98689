"""What the feed hands over, as rows; the API gives them their shape."""

from dataclasses import dataclass
from typing import Literal
from uuid import UUID

from scalewitness.animals.models import Animal, Collection
from scalewitness.calls.queries.visibility import Sight
from scalewitness.domain.sync import Cursor
from scalewitness.ledger.queries.entries import AnyEntry
from scalewitness.people.models import Keeper


@dataclass(frozen=True, slots=True)
class Snapshot:
    """An animal newly seen, or seen otherwise than before, with all entries about it that
    the keeper may read; where they are blind to it, what they stated themselves."""

    animal: Animal
    sight: Sight
    entries: tuple[AnyEntry, ...] = ()


@dataclass(frozen=True, slots=True)
class Purge:
    """An animal or collection no longer seen."""

    thing: Literal["animal", "collection"]
    id: UUID


@dataclass(frozen=True, slots=True)
class FactItem:
    """An entry of the log. ``animal``: the one it is about as it is now, with the last fact
    of a page about it."""

    entry: AnyEntry
    animal: Animal | None = None


@dataclass(frozen=True, slots=True)
class AnimalNow:
    """An animal whose record was edited, or of which a blind guest is shown something new."""

    animal: Animal
    sight: Sight


@dataclass(frozen=True, slots=True)
class CollectionNow:
    collection: Collection
    role: Literal["keeper", "partner", "viewer"]


@dataclass(frozen=True, slots=True)
class ProfileNow:
    keeper: Keeper


Item = Snapshot | Purge | FactItem | AnimalNow | CollectionNow | ProfileNow


@dataclass(frozen=True, slots=True)
class Page:
    """Items in the order to take them, where the client stands afterwards, and whether more
    waits there already."""

    items: list[Item]
    cursor: Cursor
    more: bool
