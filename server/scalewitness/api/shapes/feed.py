"""The feed of changes as shown."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import Annotated, Any, Literal, cast
from uuid import UUID

from msgspec import UNSET, Meta, Raw, Struct, UnsetType

from scalewitness.api.shapes import words
from scalewitness.api.shapes.animals import AnimalBlind, AnimalShown, animals
from scalewitness.api.shapes.people import Profile, profile
from scalewitness.domain.sync import written
from scalewitness.feed.items import (
    AnimalNow,
    CollectionNow,
    FactItem,
    Item,
    Page,
    ProfileNow,
    Purge,
    Snapshot,
)
from scalewitness.ledger.queries.entries import AnyEntry, openings_by_fact
from scalewitness.people.models import Keeper
from scalewitness.people.queries import has_verified_address, names_of
from scalewitness.receipts.queries import OWN_NOTES


class LogEntry(Struct, frozen=True):
    """An entry of the log, in the very canonical bytes that were hashed. ``received`` and
    ``flags``, the record's own, are in entries of version 2: what stands beside these says the
    same and is proved by nothing."""

    v: Literal[1, 2]
    kind: str
    id: str
    by: str | None
    device: str | None
    at: str
    about: str | None
    body: dict[str, Any]
    sig: str | None
    received: str | UnsetType = UNSET
    flags: list[str] | UnsetType = UNSET


class FactFed(Struct, frozen=True, tag_field="type", tag="fact"):
    """A fact by its place in the log. ``by_name`` None: the record itself stated it.
    ``texts``: its free text, where there is any that is shown to the reader; ``salts``, in hex:
    under these its body is committed to them. ``animal``: the one it is about as it is now, with
    the last of a page about it."""

    position: Annotated[int, Meta(ge=0)]
    received_at: datetime
    flags: list[str]
    by_name: str | None
    entry: LogEntry
    texts: dict[str, str]
    salts: dict[str, str]
    animal: AnimalShown | UnsetType = UNSET


class SnapshotFed(Struct, frozen=True, tag_field="type", tag="snapshot"):
    """In place of all that the client has of the animal. To a blind guest with no facts but
    their own."""

    animal: AnimalShown | AnimalBlind
    facts: list[FactFed]


class PurgeFed(Struct, frozen=True, tag_field="type", tag="purge"):
    """An animal (with all that others stated of it) or a collection to be forgotten."""

    animal: UUID | UnsetType = UNSET
    collection: UUID | UnsetType = UNSET


class AnimalFed(Struct, frozen=True, tag_field="type", tag="animal"):
    """An animal as it is now, its record edited or its condition noted."""

    animal: AnimalShown | AnimalBlind


class CollectionSeen(Struct, frozen=True):
    """``version`` is that of what PATCH edits, for its keeper and partners."""

    id: UUID
    name: str
    role: Annotated[str, words.one_of("keeper", "partner", "viewer")]
    version: int | None


class CollectionFed(Struct, frozen=True, tag_field="type", tag="collection"):
    collection: CollectionSeen


class ProfileFed(Struct, frozen=True, tag_field="type", tag="profile"):
    profile: Profile


Fed = SnapshotFed | PurgeFed | FactFed | AnimalFed | CollectionFed | ProfileFed


class Changes(Struct, frozen=True):
    """Items in the order to take them; each may come again and then says the same or what
    is newer. ``cursor``: where to go on, also when there are no items. ``more``: more waits
    there already. ``checkpoint``: the size of the largest tree the log signed."""

    items: list[Fed]
    cursor: str
    more: bool
    checkpoint: Annotated[int, Meta(ge=0)]


def changes(page: Page, keeper: Keeper, now: datetime, *, checkpoint: int) -> Changes:
    shown = _Shown(page.items, keeper, now)
    items = [shown.item(one) for one in page.items]
    return Changes(items, written(page.cursor), page.more, checkpoint)


class _Shown:
    """Everything that the items of a page need, looked up for all of them at once."""

    def __init__(self, items: Iterable[Item], keeper: Keeper, now: datetime) -> None:
        listed = list(items)
        seen = list(_animals(listed))
        self._animals = {one.id: one for one in animals(seen, keeper.pk, now)}
        others, readable = set[UUID](), list[UUID]()
        for entry in _entries(listed):
            if entry.by is None:  # the record itself writes no free text
                continue
            own = entry.by == keeper.pk
            if not own:
                others.add(entry.by)
            if own or entry.kind not in OWN_NOTES:
                readable.append(entry.fact)
        self._names = {keeper.pk: keeper.name, **(names_of(others) if others else {})}
        self._texts = openings_by_fact(readable)

    def item(self, one: Item) -> Fed:
        match one:
            case Snapshot():
                facts = [self._fact(entry) for entry in one.entries]
                return SnapshotFed(self._animals[one.animal.pk], facts)
            case FactItem():
                return self._fact(one.entry, with_animal=one.animal is not None)
            case AnimalNow():
                return AnimalFed(self._animals[one.animal.pk])
            case Purge():
                return PurgeFed(**cast(Mapping[str, Any], {one.thing: one.id}))
            case CollectionNow():
                return CollectionFed(_collection(one))
            case ProfileNow():
                verified = has_verified_address(one.keeper)
                return ProfileFed(profile(one.keeper, verified=verified))

    def _fact(self, entry: AnyEntry, *, with_animal: bool = False) -> FactFed:
        by = entry.by
        texts = {} if by is None else self._texts.get(entry.fact, {})
        return FactFed(
            position=entry.position,
            received_at=entry.received_at,
            flags=entry.flags,
            by_name=None if by is None else self._names.get(by, "unknown"),
            entry=cast(LogEntry, Raw(bytes(entry.leaf))),
            texts={field: one.text for field, one in texts.items()},
            salts={field: one.salt.hex() for field, one in texts.items()},
            animal=self._animals[entry.about] if with_animal else UNSET,  # type: ignore[index, arg-type]
        )


def _entries(items: Iterable[Item]) -> Iterator[AnyEntry]:
    for one in items:
        if isinstance(one, Snapshot):
            yield from one.entries
        elif isinstance(one, FactItem):
            yield one.entry


def _animals(items: Iterable[Item]) -> Iterator[tuple[Any, str]]:
    for one in items:
        if isinstance(one, Snapshot | AnimalNow):
            yield one.animal, one.sight
        elif isinstance(one, FactItem) and one.animal is not None:
            yield one.animal, "all"


def _collection(one: CollectionNow) -> CollectionSeen:
    version = None if one.role == "viewer" else one.collection.version
    return CollectionSeen(one.collection.pk, one.collection.name, one.role, version)
