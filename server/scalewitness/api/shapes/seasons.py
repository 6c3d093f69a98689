"""A season as shown."""

from uuid import UUID

from msgspec import Struct

from scalewitness.api.shapes.pairings import PairingShown, pairings
from scalewitness.domain.season.outlook import Change, OutlookBody
from scalewitness.domain.season.stated import LimitsStated, WantStated
from scalewitness.domain.season.values import Chosen
from scalewitness.seasons.queries.shown import SeasonShown


class ExpectedShown(Struct, frozen=True):
    """Wanted young, each times its worth: on average, with its standard error; in the worst tenth
    of seasons; and where every call is trusted less."""

    expected: float
    error: float
    worst: float
    strict: float


class ChosenShown(Struct, frozen=True):
    sire: UUID
    dam: UUID


class BrokenShown(Struct, frozen=True):
    """``animals`` of which the sex or a claim changed, since log position ``position``; ``pairs``
    that rest on them. ``before``: what was expected then, None: it was never worked out."""

    position: int
    animals: list[UUID]
    pairs: list[ChosenShown]
    before: float | None


class ChangeShown(Struct, frozen=True):
    """``gap``: by how much of its value a better plan may exceed it, as a share."""

    dropped: list[ChosenShown]
    added: list[ChosenShown]
    expected: float
    worst: float
    gap: float


class AlternativeShown(Struct, frozen=True):
    """A pairing that could be made instead, and how much less the best plan then brings."""

    pair: ChosenShown
    costs: float


class FallShown(Struct, frozen=True):
    """What if it is of the other sex: what the season then brings, and what once repaired."""

    animal: UUID
    chance: float
    left: float
    after: float


class CheckShown(Struct, frozen=True):
    """What one check of its sex, or of a claim at a locus, gains before pairing, and what it would
    if it could not be wrong (``certain``); ``by``: whose check it is, ``times``: how often, each
    time by another."""

    animal: UUID
    locus: str | None
    method: str
    by: str
    times: int
    gains: float
    certain: float
    net: float
    minutes: float


class OutlookShown(Struct, frozen=True):
    """As worked out from the log up to ``position``, from what the reader may see.
    ``alternatives``: to pairings of the best plan, least cost first, once that was asked for."""

    position: int
    worth: ExpectedShown
    unknown: list[str]
    broken: BrokenShown | None
    repair: ChangeShown | None
    best: ChangeShown | None
    alternatives: list[AlternativeShown]
    falls: list[FallShown]
    checks: list[CheckShown]


class SeasonOfCollection(Struct, frozen=True):
    """``version``: of ``wants``, ``limits`` and ``kept``, 0 before the first edit. ``behind``:
    newer facts came than ``outlook`` rests on, and it is being worked out again; None: it never
    was. ``asked``: the best plan is being worked out, and one that is shown is of before."""

    collection: UUID
    year: int
    version: int
    wants: list[WantStated]
    limits: LimitsStated
    kept: list[UUID]
    pairings: list[PairingShown]
    outlook: OutlookShown | None
    behind: bool
    asked: bool


def season(found: SeasonShown) -> SeasonOfCollection:
    """Of what is kept, the pairings that the reader is told of."""
    seen = {one.pairing.pk for one in found.pairings}
    return SeasonOfCollection(
        collection=found.collection.pk,
        year=found.year,
        version=found.settings.version,
        wants=list(found.settings.wants),
        limits=found.settings.limits,
        kept=[one for one in found.settings.kept if one in seen],
        pairings=pairings(found.pairings).items,
        outlook=_outlook(found.outlook, found) if found.outlook else None,
        behind=found.behind,
        asked=found.asked,
    )


def _outlook(found: OutlookBody, of: SeasonShown) -> OutlookShown:
    """No change of a plan that is no more is offered."""
    broken, worth = found.broken, found.worth
    return OutlookShown(
        position=of.position or 0,
        worth=ExpectedShown(worth.expected, worth.error, worth.worst, worth.strict),
        unknown=list(found.unknown),
        broken=BrokenShown(
            broken.position,
            [UUID(one) for one in broken.animals],
            _pairs(broken.pairs),
            broken.before,
        )
        if broken
        else None,
        repair=_change(found.repair) if of.stands else None,
        best=_change(found.best) if of.stands else None,
        alternatives=[AlternativeShown(_chosen(pair), costs) for pair, costs in found.alternatives],
        falls=[FallShown(UUID(one.animal), one.chance, one.left, one.after) for one in found.falls],
        checks=[
            CheckShown(
                animal=UUID(one.animal),
                locus=one.locus,
                method=one.method,
                by=one.by,
                gains=one.gains,
                times=one.times,
                certain=one.certain,
                net=one.net,
                minutes=one.minutes,
            )
            for one in found.checks
        ],
    )


def _change(found: Change | None) -> ChangeShown | None:
    if found is None:
        return None
    return ChangeShown(
        _pairs(found.dropped), _pairs(found.added), found.expected, found.worst, found.gap
    )


def _pairs(found: tuple[Chosen, ...]) -> list[ChosenShown]:
    return [_chosen(one) for one in found]


def _chosen(found: Chosen) -> ChosenShown:
    return ChosenShown(UUID(found.sire), UUID(found.dam))
