"""Edits of records sent together with facts: merged field by field, each known by its id.

``{id, record, base_version, fields}``; ``record`` is the record's path in the API, such as
``animals/{id}``, ``collections/{id}`` or ``keepers/me``.
"""

from collections.abc import Callable, Mapping
from datetime import datetime
from hashlib import sha256
from typing import Annotated, Any, Final
from uuid import UUID

import msgspec
from django.db import transaction
from msgspec import Meta

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.queries import fields_at, is_steward
from scalewitness.animals.services import edit
from scalewitness.domain import facts
from scalewitness.domain.errors import (
    AddressUnconfirmed,
    Busy,
    Fenced,
    IdReused,
    NotFound,
    OutOfRange,
    Refused,
    WrongShape,
)
from scalewitness.domain.ids import is_uuid7
from scalewitness.domain.lines import one_line, some_lines
from scalewitness.domain.sync import merge
from scalewitness.intake.authors import check_confirmed
from scalewitness.intake.outcomes import Outcome, named
from scalewitness.intake.submission import shaped
from scalewitness.ledger.queries.entries import is_spoken_for
from scalewitness.ledger.services.writing import take_turn
from scalewitness.people.models import Keeper, RecordEdit
from scalewitness.people.services import rename

Clean = Callable[[object, str], Any]
Record = Animal | Collection | Keeper


class SentEdit(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """An edit of a record made while it was at ``base_version``. ``record`` is its path in
    the API: ``animals/{id}``, ``collections/{id}`` or ``keepers/me``."""

    id: facts.Id
    record: Annotated[
        str,
        Meta(
            pattern=r"^((animals|collections)/[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}|keepers/me)$",
            max_length=48,
        ),
    ]
    base_version: Annotated[int, Meta(ge=1, le=2**31 - 1)]
    fields: dict[str, str | bool]


def is_edit(item: object) -> bool:
    """Whether an item of a push is an edit and no fact."""
    return isinstance(item, Mapping) and "record" in item


def take_edit(item: object, keeper_id: UUID, now: datetime) -> Outcome:
    """Merge one edit into its record, in a transaction of its own.

    Fields that nobody else changed since ``base_version`` are set; where any was, nothing is
    and the outcome holds both values. The same edit again is a duplicate.
    """
    try:
        sent = shaped(item, SentEdit)
        if not is_uuid7(sent.id):
            raise WrongShape("An id is a UUIDv7 in lower case.", pointer="/id")
        with transaction.atomic():
            take_turn()
            check_confirmed(keeper_id)
            return _take(sent, keeper_id, now)
    except (Fenced, Busy, AddressUnconfirmed):  # of all that is sent, not of this edit
        raise
    except Refused as refused:
        refusal = Outcome(None, "refused", problem=refused.as_problem())
        return named([item], [refusal])[0]


def _take(sent: SentEdit, keeper_id: UUID, now: datetime) -> Outcome:
    keeper = Keeper.objects.get(pk=keeper_id)
    digest = _digest(sent, keeper_id)
    earlier = RecordEdit.objects.filter(pk=sent.id).first()
    if earlier is not None:
        if earlier.digest != digest:
            raise IdReused()
        return Outcome(sent.id, "duplicate", version=earlier.version)
    if is_spoken_for(UUID(sent.id)):
        raise IdReused()
    record = _record(sent.record, keeper, now)
    fields = cleaned(sent.record.partition("/")[0], sent.fields, "/fields")
    if sent.base_version > record.version:
        raise OutOfRange("The record has no such version yet.", pointer="/base_version")
    stands = {name: getattr(record, name) for name in fields}
    changes, clashes = merge(_base(record, sent.base_version, stands), stands, fields)
    if clashes:
        return Outcome(sent.id, "conflict", version=record.version, conflicts=clashes)
    if changes:
        record = _edited(record, changes, keeper, now)
    RecordEdit.objects.create(
        id=UUID(sent.id), by=keeper_id, digest=digest, version=record.version, at=now
    )
    return Outcome(sent.id, "accepted", version=record.version)


def _digest(sent: SentEdit, keeper: UUID) -> str:
    """What makes a repeat the same. Of a name, which must be erasable, only that it was set:
    a digest of it could be guessed at."""
    fields: object = sent.fields
    if sent.record == "keepers/me":
        fields = sorted(sent.fields)
    parts = [str(keeper), sent.record, sent.base_version, fields]
    return sha256(msgspec.json.encode(parts, order="deterministic")).hexdigest()


def _record(path: str, keeper: Keeper, now: datetime) -> Record:
    """The record, if the keeper may edit it; else as if there were none."""
    kind, _, name = path.partition("/")
    if kind == "keepers":
        return keeper
    if kind == "animals":
        animal = Animal.objects.select_related("collection").filter(pk=name).first()
        if animal is not None and is_steward(keeper.pk, animal.collection, now):
            return animal
    collection = Collection.objects.filter(pk=name).first() if kind == "collections" else None
    if collection is None or not is_steward(keeper.pk, collection, now):
        raise NotFound(pointer="/record")
    return collection


def _base(record: Record, version: int, stands: Mapping[str, Any]) -> Mapping[str, Any] | None:
    if version == record.version:
        return stands
    return None if isinstance(record, Keeper) else fields_at(record, version)


def _edited(record: Record, changes: Mapping[str, Any], by: Keeper, now: datetime) -> Record:
    if isinstance(record, Keeper):
        return rename(record, name=changes["name"], version=record.version, now=now)
    if isinstance(record, Animal):
        return edit(record, changes, version=record.version, by=by, now=now)
    return edit(record, changes, version=record.version, by=by, now=now)


# --- what may be edited, and how it is cleaned ----------------------------------------


def _name(value: object, pointer: str) -> str:
    return _checked(lambda: one_line(_text(value, pointer), 80), pointer)


def _short(most: int) -> Clean:
    def clean(value: object, pointer: str) -> str:
        text = _text(value, pointer)
        return _checked(lambda: one_line(text, most), pointer) if text.strip() else ""

    return clean


def _long(value: object, pointer: str) -> str:
    text = _text(value, pointer)
    return _checked(lambda: some_lines(text, 2000), pointer) if text.strip() else ""


def _flag(value: object, pointer: str) -> bool:
    if not isinstance(value, bool):
        raise WrongShape("Expected `bool`.", pointer=pointer)
    return value


def _text(value: object, pointer: str) -> str:
    if not isinstance(value, str):
        raise WrongShape("Expected `str`.", pointer=pointer)
    return value


def _checked(read: Callable[[], str], pointer: str) -> str:
    try:
        return read()
    except ValueError as problem:
        detail = f"{str(problem)[:1].upper()}{str(problem)[1:]}."
        raise OutOfRange(detail, pointer=pointer) from None


EDITABLE: Final[Mapping[str, Mapping[str, Clean]]] = {
    "animals": {
        "name": _short(80),
        "rack": _short(40),
        "description": _long,
        "hold_off": _flag,
    },
    "collections": {"name": _name},
    "keepers": {"name": _name},
}
"""Fields by kind of record; everything else follows the facts."""


def cleaned(kind: str, fields: Mapping[str, object], where: str = "") -> dict[str, Any]:
    """The fields as they are stored; ``where`` is the JSON pointer at which they stand. An
    empty text clears where a record may be without it.

    Raises:
        WrongShape: there are none, or one is not to be edited or of another type.
        OutOfRange: a text is too long or holds what may not stand in it.
    """
    if not fields:
        raise WrongShape("Nothing to edit was sent.", pointer=where)
    rules = EDITABLE[kind]
    for name in fields:
        if name not in rules:
            raise WrongShape("This field cannot be edited.", pointer=where)
    return {name: rules[name](value, f"{where}/{name}") for name, value in fields.items()}
