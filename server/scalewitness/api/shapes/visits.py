"""Visits as shown, and the sheet a guest works from."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime
from uuid import UUID

from msgspec import UNSET, Struct, UnsetType

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import NOTHING_NOTED, conditions_of, identifiers_of
from scalewitness.api.shapes import words
from scalewitness.api.shapes.animals import (
    BLIND_SCHEMES,
    ConditionShown,
    EndShown,
    IdentifierShown,
    SpeciesNamed,
    StandingNamed,
    condition,
    end,
    identifiers,
    species,
    standing_named,
)
from scalewitness.api.shapes.people import CollectionNamed, Person, person
from scalewitness.calls.models import Call
from scalewitness.domain.cautions import BEFORE_A_CHECK, HOLD_OFF, is_held_off
from scalewitness.standings.queries.logged import latest_standings
from scalewitness.visits.models import Visit
from scalewitness.visits.queries import state_of


class VisitShown(Struct, frozen=True):
    """``count`` animals are to be checked; ``animals`` and the collection's name are for
    the host, a guest reads the sheet, ahead too once they accepted."""

    id: UUID
    collection: CollectionNamed
    host: Person
    guest: Person
    opens: datetime
    closes: datetime
    blind: bool
    state: words.VisitState
    count: int
    animals: list[UUID] | None


class Visits(Struct, frozen=True):
    items: list[VisitShown]


class CallNamed(Struct, frozen=True):
    id: UUID
    position: int


class SheetAnimal(Struct, frozen=True, omit_defaults=True):
    """An animal to be checked. ``own_call``: the guest's call on this visit. ``standing``
    is left out while the reader is blind to it."""

    id: UUID
    sight: str
    species: SpeciesNamed
    hatched: date | None
    identifiers: list[IdentifierShown]
    condition: ConditionShown
    hold_off: bool
    own_call: CallNamed | None
    ended: EndShown | None = None
    standing: StandingNamed | UnsetType | None = UNSET


class AnimalHeldOff(Struct, frozen=True):
    id: UUID
    identifiers: list[IdentifierShown]


class Sheet(Struct, frozen=True):
    """The animals of a visit, by tag. ``held_off``: those that the reader, still blind to them, is
    to leave alone for now, whatever the reason; ``notice`` says so, None where there are none."""

    visit: VisitShown
    cautions: tuple[str, ...]
    animals: list[SheetAnimal]
    held_off: list[AnimalHeldOff]
    notice: str | None


def visit(one: Visit, now: datetime, *, host: bool) -> VisitShown:
    ids = sorted(animal.pk for animal in one.animals.all() if not animal.ended)
    return VisitShown(
        id=one.pk,
        collection=CollectionNamed(one.collection_id, one.collection.name if host else None),
        host=person(one.host),
        guest=person(one.guest),
        opens=one.opens,
        closes=one.closes,
        blind=one.blind,
        state=state_of(one, now),
        count=len(ids),
        animals=ids if host else None,
    )


def sheet(
    shown: VisitShown,
    seen: Iterable[tuple[Animal, str]],
    own: Mapping[UUID, Call],
    *,
    conditions: bool = True,
) -> Sheet:
    """``own``: the guest's latest call of this visit, by animal. Without ``conditions`` those
    are told as if nothing had ever been noted."""
    found = list(seen)
    ids = [animal.pk for animal, _ in found]
    marks, states = identifiers_of(ids), conditions_of(ids)
    held = {
        animal.pk
        for animal, sight in found
        if sight == "blind" and is_held_off(asked=animal.hold_off, health=states[animal.pk].health)
    }
    standings = latest_standings(animal.pk for animal, sight in found if sight == "all")
    rows = [
        SheetAnimal(
            id=animal.pk,
            sight=sight,
            species=species(animal.species),
            hatched=animal.hatched,
            identifiers=identifiers(
                mark for mark in marks.get(animal.pk, []) if mark.scheme in BLIND_SCHEMES
            ),
            condition=condition(
                states[animal.pk] if conditions else NOTHING_NOTED, health=sight == "all"
            ),
            hold_off=animal.hold_off,
            own_call=_call(own.get(animal.pk)),
            ended=end(animal),
            standing=standing_named(standings.get(animal.pk)) if sight == "all" else UNSET,
        )
        for animal, sight in found
    ]
    rows.sort(key=_by_code)
    return Sheet(
        shown,
        BEFORE_A_CHECK,
        [row for row in rows if row.id not in held],
        [AnimalHeldOff(row.id, row.identifiers) for row in rows if row.id in held],
        HOLD_OFF if held else None,
    )


def _call(call: Call | None) -> CallNamed | None:
    return None if call is None else CallNamed(call.pk, call.position)


def _by_code(row: SheetAnimal) -> tuple[str, str]:
    """By tag, else transponder: an order that follows nothing about the sex."""
    tags = [one.code for one in row.identifiers if one.scheme == "tag"]
    codes = tags or [one.code for one in row.identifiers]
    return (min(codes, default=""), str(row.id))
