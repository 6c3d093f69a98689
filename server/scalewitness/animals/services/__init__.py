"""Collections, animals and husbandry: the writes."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any, TypeVar
from uuid import UUID

import msgspec
from django.db import IntegrityError, transaction
from django.db.models import Model

from scalewitness.animals.models import (
    IN_ERROR,
    Animal,
    Collection,
    Custody,
    IdentifierWithdrawal,
    Joining,
    JoiningAnswer,
    Photo,
)
from scalewitness.domain.errors import IdReused, VersionStale
from scalewitness.domain.facts import (
    AnimalEnded,
    AnimalRegistered,
    CustodyChanged,
    EndCorrected,
    HusbandryNoted,
    IdentifierAssigned,
    IdentifierWithdrawn,
    JoiningAnswered,
    JoiningProposed,
    Particulars,
    PartingProposed,
    PhotoAttached,
    RegisteredInError,
)
from scalewitness.domain.identifiers import plain_code
from scalewitness.ledger.queries.entries import is_spoken_for
from scalewitness.ledger.queries.prepared import columns
from scalewitness.ledger.services.inserting import Row, as_json
from scalewitness.ledger.services.writing import Logged, take_turn
from scalewitness.people.models import Keeper

Editable = TypeVar("Editable", Animal, Collection)


def create_collection(keeper: Keeper, collection: UUID, name: str, now: datetime) -> Collection:
    """A new, empty collection. Repeating it with the same id and name changes nothing.

    Raises:
        IdReused: the id stands for another collection.
    """
    found = Collection.objects.filter(pk=collection).first()
    if found is None and is_spoken_for(collection):
        raise IdReused()
    if found is None:
        try:
            with transaction.atomic():
                take_turn()
                found = Collection(pk=collection, keeper=keeper, name=name)
                _save(found, keeper, now, new=True)
        except IntegrityError:  # the same request, twice at once
            found = Collection.objects.get(pk=collection)
    if found.keeper_id != keeper.pk or found.name != name:
        raise IdReused()
    return found


def edit(
    record: Editable, fields: Mapping[str, Any], *, version: int, by: Keeper, now: datetime
) -> Editable:
    """Edit a record under its version; the earlier values stay in its history.

    Raises:
        VersionStale: the record is no longer at ``version``.
    """
    with transaction.atomic():
        take_turn()
        current = type(record).objects.select_for_update().get(pk=record.pk)
        if current.version != version:
            raise VersionStale(version=current.version)
        for name, value in fields.items():
            setattr(current, name, value)
        current.version += 1
        _save(current, by, now)
    return current


def _save(record: Animal | Collection, by: Keeper | None, now: datetime, new: bool = False) -> None:
    record._history_user = by
    record._history_date = now
    record.save(force_insert=new)


# --- facts: intake calls these, nobody else -------------------------------------------


def registered(fact: Logged[AnimalRegistered], collection: Collection) -> Animal:
    """A new animal; its rows are those of :func:`animal_rows`."""
    animal = Animal(pk=fact.about, collection=collection)
    _set_particulars(animal, fact.body)
    return animal


def animal_rows(animal: Animal, now: datetime) -> list[tuple[type[Model], Row]]:
    """A new animal's row, and that of its history, to be stored with many others."""
    row = {name: getattr(animal, name) for name in columns(Animal)}
    row["traits"] = as_json(animal.traits)
    history = row | {
        "history_date": now,
        "history_change_reason": None,
        "history_type": "+",
        "history_user_id": None,
    }
    return [(Animal, row), (Animal.history.model, history)]


def store_particulars(animal: Animal, fact: Logged[Particulars]) -> None:
    animal = _current(animal)
    _set_particulars(animal, fact.body)
    animal.version += 1
    _save(animal, None, fact.received_at)


def _current(animal: Animal) -> Animal:
    """The animal as it is now, locked: an edit of its record may have come in between, and
    takes no other lock."""
    return Animal.ever.select_for_update().get(pk=animal.pk)


def _set_particulars(animal: Animal, body: Particulars) -> None:
    animal.species = body.species
    animal.hatched = date.fromisoformat(body.hatched) if body.hatched else None
    animal.sire = UUID(body.sire) if body.sire else None
    animal.dam = UUID(body.dam) if body.dam else None
    animal.traits = list(body.traits)


def store_end(animal: Animal, fact: Logged[AnimalEnded]) -> None:
    _set_end(animal, fact.body.why, fact.at, fact.received_at)


def store_end_correction(animal: Animal, fact: Logged[EndCorrected]) -> None:
    _set_end(animal, "", None, fact.received_at)


def store_in_error(animal: Animal, fact: Logged[RegisteredInError]) -> None:
    _set_end(animal, IN_ERROR, fact.at, fact.received_at)


def _set_end(animal: Animal, ended: str, at: datetime | None, now: datetime) -> None:
    animal = _current(animal)
    animal.ended, animal.ended_at = ended, at
    animal.version += 1
    _save(animal, None, now)


def identifier_row(fact: Logged[IdentifierAssigned]) -> Row:
    return {
        "id": fact.id,
        "position": fact.position,
        "animal_id": fact.about,
        "scheme": fact.body.scheme,
        "code": plain_code(fact.body.scheme, fact.body.code),
    }


def store_identifier_withdrawal(fact: Logged[IdentifierWithdrawn]) -> None:
    body = fact.body
    IdentifierWithdrawal.objects.create(
        id=fact.id,
        position=fact.position,
        animal_id=fact.about,
        scheme=body.scheme,
        code=plain_code(body.scheme, body.code),
        by=fact.sender,
        at=fact.at,
    )


def store_joining(fact: Logged[JoiningProposed] | Logged[PartingProposed], other: UUID) -> Joining:
    """``other``: the record that it speaks of besides its own."""
    body = fact.body
    parts = body.joining if isinstance(body, PartingProposed) else None
    return Joining.objects.create(
        id=fact.id,
        position=fact.position,
        animal_id=fact.about,
        other_id=other,
        code="" if isinstance(body, PartingProposed) else plain_code("transponder", body.code),
        parts_id=UUID(parts) if parts else None,
        by=fact.sender,
        at=fact.at,
    )


def store_joining_answer(fact: Logged[JoiningAnswered]) -> None:
    body = fact.body
    JoiningAnswer.objects.create(
        id=fact.id,
        position=fact.position,
        animal_id=fact.about,
        proposal_id=UUID(body.proposal),
        agrees=body.agrees,
        finding=UUID(body.finding) if body.finding else None,
        by=fact.sender,
        at=fact.at,
    )


def store_photo(fact: Logged[PhotoAttached]) -> None:
    body = fact.body
    Photo.objects.create(
        id=fact.id,
        position=fact.position,
        animal_id=fact.about,
        call=UUID(body.of) if body.of else None,
        by=fact.sender,
        at=fact.at,
        sha256=body.sha256,
        size=body.size,
    )


def husbandry_row(fact: Logged[HusbandryNoted]) -> Row:
    noted = msgspec.to_builtins(fact.body.noted)
    return {
        "id": fact.id,
        "position": fact.position,
        "animal_id": fact.about,
        "by": fact.sender,
        "at": fact.at,
        "type": noted["type"],
        "noted": as_json(noted),
    }


def store_move(animal: Animal, fact: Logged[CustodyChanged]) -> None:
    animal = _current(animal)
    Custody.objects.create(
        id=fact.id,
        position=fact.position,
        animal=animal,
        came_from=animal.collection_id,
        went_to=UUID(fact.body.to),
        why=fact.body.why,
        at=fact.at,
    )
    target = Collection.objects.get(pk=fact.body.to)
    if target.keeper_id != animal.collection.keeper_id:
        # What one keeper wrote for themself is not the next one's to read.
        animal.name = animal.rack = animal.description = ""
    animal.collection = target
    animal.version += 1
    _save(animal, None, fact.received_at)
