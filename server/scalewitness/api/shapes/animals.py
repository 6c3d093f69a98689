"""Animals as shown: whole, or to a guest who must not learn another's answer."""

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from msgspec import UNSET, Struct, UnsetType

from scalewitness.animals.models import Animal, Collection, Identifier
from scalewitness.animals.queries import LastNoted, conditions_of, identifiers_of
from scalewitness.api.shapes import words
from scalewitness.api.shapes.people import CollectionNamed
from scalewitness.calls.queries.visibility import parents_shown
from scalewitness.domain.cautions import is_held_off
from scalewitness.domain.sexing.taxa import Taxon, taxon
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import codes_known
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.logged import latest_standings

BLIND_SCHEMES = frozenset({"tag", "transponder"})


class SpeciesNamed(Struct, frozen=True):
    key: str
    common: str
    scientific: str


class IdentifierShown(Struct, frozen=True):
    scheme: str
    code: str


class ConditionShown(Struct, frozen=True, omit_defaults=True):
    """What matters before a check. ``grams`` is a decimal string. ``health`` is left out
    for a blind guest, whom ``gravid`` would tell the sex."""

    grams: Decimal | None
    weighed_at: datetime | None
    fed_at: datetime | None
    shed: str | None
    health: str | UnsetType | None = UNSET


class EndShown(Struct, frozen=True):
    """Why its keeper has it no longer (``died``, ``lost``, ``stolen``), and since when."""

    why: str
    at: datetime


class StandingNamed(Struct, frozen=True):
    """The standing in force, without its reasons. ``known_elsewhere``: its transponder is another
    record's, so it is probable at most. ``calls_elsewhere``: how many calls of other records of the
    same snake it counts."""

    label: words.Label
    p_male: words.Share
    p_male_pessimistic: words.Share
    position: int
    parameters: str
    policy: str
    examiner_records: str
    known_elsewhere: bool = False
    calls_elsewhere: int = 0


class AnimalShown(Struct, frozen=True, tag_field="sight", tag="all"):
    """An animal to someone who may see all of it. ``version`` is that of what PATCH edits.
    ``sire`` and ``dam`` are left out while the reader is blind to that animal's own sex."""

    id: UUID
    collection: CollectionNamed
    species: SpeciesNamed
    hatched: date | None
    sire: UUID | None
    dam: UUID | None
    traits: list[str]
    name: str
    rack: str
    description: str
    hold_off: bool
    identifiers: list[IdentifierShown]
    condition: ConditionShown
    standing: StandingNamed | None
    version: int
    ended: EndShown | None = None


class AnimalBlind(Struct, frozen=True, tag_field="sight", tag="blind"):
    """An animal to a guest whose own call is still to come. ``hold_off``: it is to be left alone
    for now, as its keeper asks or as it was noted gravid, ill, injured or under treatment."""

    id: UUID
    species: SpeciesNamed
    hatched: date | None
    identifiers: list[IdentifierShown]
    condition: ConditionShown
    hold_off: bool
    ended: EndShown | None = None


class Animals(Struct, frozen=True):
    """``next``: the cursor of the next page."""

    items: list[AnimalShown | AnimalBlind]
    next: str | None


class AnimalNamed(Struct, frozen=True):
    """An animal as sales and disputes name it. ``name`` is its keeper's own for it."""

    id: UUID
    name: str | None
    species: SpeciesNamed
    identifiers: list[IdentifierShown]
    ended: EndShown | None = None


class CollectionShown(Struct, frozen=True):
    """``role``: ``keeper`` or ``partner``; ``keeper``: the name of whose it is."""

    id: UUID
    name: str
    role: str
    keeper: str
    version: int


class Collections(Struct, frozen=True):
    items: list[CollectionShown]


def animals(
    seen: Sequence[tuple[Animal, str]], keeper: UUID, now: datetime
) -> list[AnimalShown | AnimalBlind]:
    """Animals with the sight ``keeper`` has of each, in the order given."""
    parents = parents_shown(keeper, (animal for animal, sight in seen if sight == "all"), now)
    ids = [animal.pk for animal, _ in seen]
    standings = latest_standings(animal.pk for animal, sight in seen if sight == "all")
    marks, conditions = identifiers_of(ids), conditions_of(ids)
    return [
        whole(
            animal,
            marks.get(animal.pk, []),
            conditions[animal.pk],
            standings.get(animal.pk),
            parents[animal.pk],
        )
        if sight == "all"
        else blind(animal, marks.get(animal.pk, []), conditions[animal.pk])
        for animal, sight in seen
    ]


def whole(
    animal: Animal,
    marks: list[Identifier],
    state: LastNoted,
    standing: Standing | None,
    parents: tuple[UUID | None, UUID | None],
) -> AnimalShown:
    """``parents``: sire and dam, each None where it may not be told."""
    return AnimalShown(
        id=animal.pk,
        collection=CollectionNamed(animal.collection_id, animal.collection.name),
        species=species(animal.species),
        hatched=animal.hatched,
        sire=parents[0],
        dam=parents[1],
        traits=animal.traits,
        name=animal.name,
        rack=animal.rack,
        description=animal.description,
        hold_off=animal.hold_off,
        identifiers=identifiers(marks),
        condition=condition(state),
        standing=standing_named(standing),
        version=animal.version,
        ended=end(animal),
    )


def blind(animal: Animal, marks: list[Identifier], state: LastNoted) -> AnimalBlind:
    return AnimalBlind(
        id=animal.pk,
        species=species(animal.species),
        hatched=animal.hatched,
        identifiers=identifiers(mark for mark in marks if mark.scheme in BLIND_SCHEMES),
        condition=condition(state, health=False),
        hold_off=is_held_off(asked=animal.hold_off, health=state.health),
        ended=end(animal),
    )


def end(animal: Animal) -> EndShown | None:
    return EndShown(animal.ended, animal.ended_at) if animal.ended_at else None


def species(key: str) -> SpeciesNamed:
    return _named(taxon(key))


def _named(kind: Taxon) -> SpeciesNamed:
    return SpeciesNamed(kind.key, kind.common, kind.scientific)


def identifiers(marks: Iterable[Identifier]) -> list[IdentifierShown]:
    return [IdentifierShown(mark.scheme, mark.code) for mark in marks]


def condition(state: LastNoted, *, health: bool = True) -> ConditionShown:
    return ConditionShown(
        grams=state.grams,
        weighed_at=state.weighed_at,
        fed_at=state.fed_at,
        shed=state.shed,
        health=state.health if health else UNSET,
    )


def standing_named(standing: Standing | None) -> StandingNamed | None:
    if standing is None:
        return None
    return StandingNamed(
        label=standing.label,
        p_male=standing.p_male,
        p_male_pessimistic=standing.p_male_pessimistic,
        position=standing.position,
        parameters=standing.parameters,
        policy=standing.policy,
        examiner_records=standing.examiner_records,
        known_elsewhere=standing.known_elsewhere,
        calls_elsewhere=standing.calls_elsewhere,
    )


def animals_named(
    rows: Iterable[Animal], *, holder: UUID | None, sale: Sale | None = None
) -> list[AnimalNamed]:
    """``holder``: the collection whose keeper asks; the name is theirs to see only while
    the animal is there. ``sale``: whose parties ask; they are told the codes as of their deal."""
    return animals_shown((animal, animal.collection_id == holder, sale) for animal in rows)


def animals_shown(rows: Iterable[tuple[Animal, bool, Sale | None]]) -> list[AnimalNamed]:
    """Each animal, whether the name it is called by is for the reader, and the sale, if it is
    as a party to one that they are told of it."""
    found = list(rows)
    marks = identifiers_of(animal.pk for animal, _, _ in found)
    return [
        AnimalNamed(
            id=animal.pk,
            name=animal.name if named else None,
            species=species(animal.species),
            identifiers=identifiers(
                codes_known(animal, sale) if sale else marks.get(animal.pk, [])
            ),
            ended=end(animal),
        )
        for animal, named, sale in found
    ]


def collection(one: Collection, keeper: UUID) -> CollectionShown:
    role = "keeper" if one.keeper_id == keeper else "partner"
    return CollectionShown(
        id=one.pk, name=one.name, role=role, keeper=one.keeper.name, version=one.version
    )
