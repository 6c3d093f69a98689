"""A season as one reader is shown it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import prefetch_related_objects

from scalewitness.animals.models import Animal, Collection
from scalewitness.breeding.queries.pairings import PairingSeen, pairings_seen
from scalewitness.calls.queries.visibility import seen_animals
from scalewitness.domain.season.outlook import Change, OutlookBody
from scalewitness.domain.season.values import Chosen
from scalewitness.seasons.models import SeasonOutlook
from scalewitness.seasons.queries.outlooks import is_behind, outlook_of, stored, years_ahead
from scalewitness.seasons.queries.seasons import SeasonSettings, settings_of


@dataclass(frozen=True, slots=True)
class SeasonShown:
    """``outlook``: what was computed for the reader as of log position ``position``; None before it
    first was, or where it names an animal that they may see no more. ``ahead``: it is worked out,
    being neither over nor far off; ``behind``: it is just now, again; ``asked``: so is the best
    plan. ``animals``: those that may be planned, by id."""

    collection: Collection
    year: int
    settings: SeasonSettings
    pairings: tuple[PairingSeen, ...]
    animals: Mapping[UUID, Animal]
    outlook: OutlookBody | None
    position: int | None
    ahead: bool
    behind: bool
    asked: bool

    @property
    def planned(self) -> dict[Chosen, UUID]:
        """The pairings of which the reader sees both animals."""
        return {
            Chosen(str(one.pairing.sire_id), str(one.pairing.dam_id)): one.pairing.pk
            for one in self.pairings
            if one.whole
        }

    @property
    def stands(self) -> bool:
        """Whether the plan is still the one that ``outlook`` was worked out from."""
        return self.outlook is not None and set(self.outlook.plan) == self.planned.keys()


def season_shown(collection: Collection, year: int, reader: UUID, now: datetime) -> SeasonShown:
    """For whoever holds the collection or is a partner in it."""
    pairings = tuple(
        one
        for one in pairings_seen(reader, now)
        if one.pairing.season == year and collection.pk in _homes(one)
    )
    kept = outlook_of(collection.pk, year, reader)
    outlook = stored(kept) if kept else None
    own = Animal.objects.filter(collection=collection, ended="").values_list("pk", flat=True)
    mates = {one for pair in pairings for one in (pair.pairing.sire_id, pair.pairing.dam_id)}
    named = _named(outlook) if outlook else set()
    seen = seen_animals(reader, {*own, *mates, *named}, now)
    whole = {pk: animal for pk, (animal, sight) in seen.items() if sight == "all"}
    prefetch_related_objects(list(whole.values()), "identifiers")
    if not named <= whole.keys():
        outlook = None
    ahead = year in years_ahead(now)
    return SeasonShown(
        collection=collection,
        year=year,
        settings=settings_of(collection.pk, year),
        pairings=pairings,
        animals=whole,
        outlook=outlook,
        position=kept.position if kept and outlook else None,
        ahead=ahead,
        behind=ahead and (kept is None or outlook is None or is_behind(kept, now)),
        asked=ahead and kept is not None and kept.asked_best is not None,
    )


def worked_out_since(collection: UUID, year: int, reader: UUID, since: int) -> OutlookBody | None:
    """What was worked out of a season from more of the log than up to ``since``; None before."""
    kept = SeasonOutlook.objects.filter(
        collection=collection, year=year, reader=reader, position__gt=since
    ).first()
    return stored(kept) if kept else None


def _homes(one: PairingSeen) -> set[UUID]:
    return {each.collection_id for each in (one.sire, one.dam) if each is not None}


def _named(outlook: OutlookBody) -> set[UUID]:
    """Every animal that it speaks of."""
    changes = [one for one in (outlook.repair, outlook.best) if one is not None]
    pairs = [*outlook.plan, *_pairs(changes), *(one for one, _ in outlook.alternatives)]
    pairs += [pair for fall in outlook.falls for pair in (*fall.broken, *fall.plan)]
    found = {one for pair in pairs for one in (pair.sire, pair.dam)}
    found |= {one.animal for one in outlook.falls} | {one.animal for one in outlook.checks}
    found |= {each.animal for each in outlook.worth.hangs_on}
    return {UUID(one) for one in found | set(outlook.broken.animals if outlook.broken else ())}


def _pairs(changes: Iterable[Change]) -> Iterable[Chosen]:
    return (pair for one in changes for pair in (*one.dropped, *one.added))
