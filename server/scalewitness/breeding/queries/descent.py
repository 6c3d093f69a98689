"""Who is whose parent, as far as one reader may be told."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from uuid import UUID

from django.db.models import QuerySet

from scalewitness.animals.models import Animal
from scalewitness.calls.queries.visibility import Reader, VisibleParents, visible_animals
from scalewitness.domain.parents import in_loops
from scalewitness.ledger.queries.prepared import Prepared


@dataclass(frozen=True, slots=True)
class Descent:
    """Of an animal that the reader sees whole: when it hatched, and its parents as they are told
    of them; one that is its own ancestor, as somebody stated it, has none and is ``looped``."""

    collection: UUID
    hatched: date | None
    sire: UUID | None
    dam: UUID | None
    looped: bool = False

    @property
    def parents(self) -> list[UUID]:
        return [one for one in (self.sire, self.dam) if one]


Descents = Mapping[UUID, Descent]


def known_descent(reader: Reader) -> Descents:
    """Of every animal that the reader sees whole."""
    rows = DESCENT.ask(keeper=reader.keeper, now=reader.now)
    rule = VisibleParents(reader, {animal: sight for animal, *_, sight in rows})
    found = {
        animal: Descent(collection, hatched, *rule.shown(collection, sire, dam))
        for animal, collection, hatched, sire, dam, sight in rows
        if sight == "all"
    }
    looped = in_loops({one: descent.parents for one, descent in found.items()}) & found.keys()
    alone = {one: replace(found[one], sire=None, dam=None, looped=True) for one in looped}
    return found | alone


def _descent(keeper: UUID, now: datetime) -> "QuerySet[Animal, tuple[object, ...]]":
    rows = visible_animals(keeper, now).order_by()
    return rows.values_list("pk", "collection", "hatched", "sire", "dam", "sight")


DESCENT = Prepared(_descent, keeper=UUID(int=1), now=datetime(1, 1, 1, tzinfo=UTC))


def related(descents: Descents, among: Iterable[UUID]) -> set[UUID]:
    """They, and whoever is reached from them over parents and young, however far."""
    beside: dict[UUID, list[UUID]] = {}
    for one, descent in descents.items():
        for parent in descent.parents:
            beside.setdefault(one, []).append(parent)
            beside.setdefault(parent, []).append(one)
    return _reached(among, beside)


def descend_from(descents: Descents, animal: UUID) -> set[UUID]:
    """It and all its young, theirs, and so on."""
    young: dict[UUID, list[UUID]] = {}
    for one, descent in descents.items():
        for parent in descent.parents:
            young.setdefault(parent, []).append(one)
    return _reached([animal], young)


def _reached(start: Iterable[UUID], ahead: Mapping[UUID, Sequence[UUID]]) -> set[UUID]:
    found = set(start)
    left = list(found)
    while left:
        new = {one for one in ahead.get(left.pop(), ()) if one not in found}
        found |= new
        left += new
    return found
