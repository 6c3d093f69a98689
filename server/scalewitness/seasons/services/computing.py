"""Working a season out. For the worker alone: what it imports takes numeric libraries."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final
from uuid import UUID

import msgspec.structs
import structlog
from django.db.models import Q
from django.utils import timezone

from scalewitness.animals.models import Collection
from scalewitness.animals.queries import is_steward
from scalewitness.animals.queries.grants import partners_by_room
from scalewitness.breeding.models import Pairing
from scalewitness.breeding.queries.pairings import AHEAD
from scalewitness.domain.genetics.arrays import ARRAYS
from scalewitness.domain.season.by_hand import season_worth
from scalewitness.domain.season.check_first import check_first, supposed_rates
from scalewitness.domain.season.falls import falls
from scalewitness.domain.season.optimum import Proposal, best_plan
from scalewitness.domain.season.outlook import (
    Broken,
    Change,
    CheckAhead,
    FallAhead,
    OutlookBody,
)
from scalewitness.domain.season.repair import Repair, repaired
from scalewitness.domain.season.values import SeasonPlan
from scalewitness.ledger.queries.tree import tip
from scalewitness.seasons.models import Season, SeasonOutlook
from scalewitness.seasons.queries.checks import checks_before_pairing
from scalewitness.seasons.queries.draws import samples_of
from scalewitness.seasons.queries.inputs import SeasonRead, season_read
from scalewitness.seasons.queries.outlooks import ahead, due, stored, years_ahead
from scalewitness.seasons.queries.seasons import affected_since, pairings_at

log = structlog.get_logger()

HELD: Final = timedelta(minutes=3)
"""How long a worker may take over one season before another run begins (our judgement)."""
AT_ONCE: Final = 20
"""Seasons worked out by one run of the task, so that letters get their turn (our judgement)."""
LAG: Final = 1000
"""Entries that are looked through again and again before it is noted of every season that nothing
in them bears on it (our judgement): of 5,000 seasons that takes seconds, as all are written anew
with an index entry for each of their animals."""
MOST: Final = 12
"""Alternatives told (our judgement: a page)."""


def compute_due(now: datetime) -> int:
    """Work out, anew or for the first time, each season on which something bears: how many. Safe to
    run at any time, and after a stop of any length. One run at a time, so that letters have the
    worker's other processes."""
    if ahead(now).filter(claimed_until__gt=now).exists():
        return 0
    open_outlooks(now)
    waiting, size = due(now)
    found = list(waiting.values_list("pk", flat=True))
    others = ahead(now).exclude(pk__in=found).filter(position__lt=size - LAG)
    others.exclude(digest="").update(position=size)
    return sum(_compute(one) for one in found[:AT_ONCE])


def open_outlooks(now: datetime) -> None:
    """One for the keeper, and each partner, of each collection that has a season ahead: of one that
    nobody edited, for those who are told of a pairing in it."""
    years = years_ahead(now)
    edited = Season.objects.filter(year__in=years)
    wanted = set(edited.values_list("collection", "year", "collection__keeper"))
    kept = {(room, year) for room, year, _ in wanted}
    planned = Pairing.objects.filter(season__in=years, **AHEAD)
    for role in ("sire", "dam"):
        home = f"{role}__collection"
        wanted |= set(planned.values_list(home, "season", f"{home}__keeper").distinct())
    partners = partners_by_room({room for room, _, _ in wanted}, now)
    wanted |= {(room, year, who) for room, year, _ in wanted for who in partners.get(room, ())}
    there = set(ahead(now).values_list("collection", "year", "reader"))
    SeasonOutlook.objects.bulk_create(
        (
            SeasonOutlook(collection_id=collection, year=year, reader_id=keeper)
            for collection, year, keeper in sorted(wanted - there)
            if (collection, year) in kept or _is_seen(keeper, collection, year, now)
        ),
        ignore_conflicts=True,
    )


def _is_seen(reader: UUID, collection: UUID, year: int, now: datetime) -> bool:
    return any(one.season == year for one in pairings_at(collection, reader, now))


def _compute(outlook: int) -> bool:
    """Whether it was ours to do, and done. Nobody waits for a transaction meanwhile."""
    now = timezone.now()
    free = Q(claimed_until=None) | Q(claimed_until__lt=now)
    until = now + HELD
    claimed = SeasonOutlook.objects.filter(free, pk=outlook).update(claimed_until=until)
    if not claimed:
        return False
    mine = SeasonOutlook.objects.filter(pk=outlook, claimed_until=until)
    try:
        return _store(mine.select_related("collection").get(), now)
    finally:
        mine.update(claimed_until=None)


def _store(outlook: SeasonOutlook, now: datetime) -> bool:
    collection, reader = outlook.collection, outlook.reader_id
    if not is_steward(reader, collection, now):
        SeasonOutlook.objects.filter(pk=outlook.pk).delete()  # what they saw once is theirs no more
        return False
    size = tip().size
    read = season_read(collection, outlook.year, reader, now, ARRAYS)
    row = {
        "position": size,
        "settings": read.settings.version,
        "basis": sorted(read.basis),
        "computed_at": now,
    }
    kept = SeasonOutlook.objects.filter(pk=outlook.pk)
    if read.digest != outlook.digest or outlook.asked_best is not None:
        season = msgspec.structs.replace(read.season, samples=samples_of(read, ARRAYS))
        read = replace(read, season=season)
        found = _worked_out(read, outlook)
        # What is broken and how to mend it is shown at once; what takes longer follows.
        kept.update(**row, digest="", body=msgspec.to_builtins(found))
        found = _looked_ahead(found, read, collection, now)
        row |= {"digest": read.digest, "body": msgspec.to_builtins(found)}
        log.info("season_computed", year=outlook.year, position=size)
    kept.update(**row)
    kept.filter(asked_best=outlook.asked_best).update(asked_best=None)
    return True


def _looked_ahead(
    found: OutlookBody, read: SeasonRead, collection: Collection, now: datetime
) -> OutlookBody:
    """With what each fall would do, and what to check first."""
    return msgspec.structs.replace(
        found,
        falls=tuple(
            FallAhead(one.animal, one.chance, one.left, one.after, one.broken, one.plan)
            for one in falls(read.season, read.plan)
        ),
        checks=tuple(_checks(read, collection, now)),
    )


def _worked_out(read: SeasonRead, outlook: SeasonOutlook) -> OutlookBody:
    season, plan, last = read.season, read.plan, stored(outlook)
    worth = season_worth(season, plan)
    broken = _broken(read, outlook, last)
    best = best_plan(season) if outlook.asked_best is not None else None
    return OutlookBody(
        plan=plan,
        worth=worth,
        unknown=tuple(sorted({one.species for one in season.animals if not one.young})),
        broken=broken,
        repair=_repair(repaired(season, plan)) if plan else None,
        best=_best(best, plan) if best else None,
        alternatives=tuple((one.pair, one.costs) for one in best.alternatives[:MOST])
        if best
        else (),
    )


def _broken(read: SeasonRead, outlook: SeasonOutlook, last: OutlookBody | None) -> Broken | None:
    """As long as the plan is what it was when something befell it."""
    if last is not None and last.plan != read.plan:
        return None
    was = last.broken if last else None
    since = was.position if was else outlook.position
    ids = {str(pairing): chosen for chosen, pairing in read.pairings.items()}
    befell = affected_since(outlook.collection_id, outlook.year, since)
    rows = [row for row in befell if not ids.keys().isdisjoint(row.pairings)]
    pairs = {ids[one] for row in rows for one in row.pairings if one in ids}
    if not pairs:
        return None
    before = was.before if was else (last.worth.expected if last else None)
    animals = tuple(sorted({str(row.animal) for row in rows}))
    return Broken(rows[0].position, animals, tuple(sorted(pairs)), before)


def _repair(found: Repair) -> Change | None:
    dropped = tuple(sorted({*found.broken, *found.dropped}))
    if not dropped and not found.added:
        return None
    return Change(dropped, found.added, found.worth.expected, found.worth.worst, found.gap)


def _best(found: Proposal, plan: SeasonPlan) -> Change:
    return Change(
        dropped=tuple(sorted({*plan} - {*found.plan})),
        added=tuple(sorted({*found.plan} - {*plan})),
        expected=found.worth.expected,
        worst=found.worth.worst,
        gap=found.gap,
    )


def _checks(read: SeasonRead, collection: Collection, now: datetime) -> Iterable[CheckAhead]:
    """Of each sex or claim that is not sure the best check by each method, best first."""
    possible = list(checks_before_pairing(read, collection, now))
    parties = {check.examiner: party for check, party in possible}
    checks = [check for check, _ in possible]
    found: dict[tuple[str, str | None, str], CheckAhead] = {}
    for worth in check_first(read.season, read.plan, checks, supposed_rates()):
        check = worth.check
        found.setdefault(
            (check.animal, check.locus, check.method),
            CheckAhead(
                animal=check.animal,
                locus=check.locus,
                gains=worth.gains,
                net=worth.net,
                minutes=check.minutes,
                method=check.method,
                by=parties[check.examiner],
                times=check.times,
                certain=worth.certain,
            ),
        )
    return found.values()
