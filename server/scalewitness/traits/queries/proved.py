"""Whose parents are proved: the dam by eggs or a birth that somebody without a share in her saw
too, the sire by a test of the whole brood that its laboratory confirmed."""

from collections import Counter
from collections.abc import Collection, Iterable
from datetime import date
from math import inf
from typing import NamedTuple
from uuid import UUID

import msgspec

from scalewitness.animals.models import Animal
from scalewitness.calls.models import COUNTS, Call
from scalewitness.calls.queries.reports import report_of
from scalewitness.domain.facts import CallMade
from scalewitness.domain.observations import Parentage
from scalewitness.domain.reports import is_of_clutch
from scalewitness.ledger.models import Entry


def proved_among(animals: Iterable[Animal]) -> dict[UUID, tuple[UUID, UUID]]:
    """Sire and dam on record of those of the animals where both are proved to be its parents."""
    wanted = [one for one in animals if one.sire and one.dam and one.hatched]
    named = {one for animal in wanted for one in (animal.sire, animal.dam)}
    rows = Call.objects.filter(COUNTS, animal__in=named) if named else Call.objects.none()
    calls = rows.filter(method__in=("reproduction", "parentage")).prefetch_related("attestations")
    confirmed: dict[UUID, list[Call]] = {}
    for call in calls:
        if _is_confirmed(call):
            confirmed.setdefault(call.animal_id, []).append(call)
    young = _young_of(one for one in named if one in confirmed)
    found: dict[UUID, tuple[UUID, UUID]] = {}
    for animal in wanted:
        sire, dam, hatched = animal.sire, animal.dam, animal.hatched
        if sire is None or dam is None or hatched is None:
            continue
        if not _dam_is_proved(hatched, confirmed.get(dam, ())):
            continue
        if _sire_is_proved(animal.pk, hatched, confirmed.get(sire, ()), young.get(sire, ())):
            found[animal.pk] = sire, dam
    return found


class _Young(NamedTuple):
    """``position``: of its registration; after all others while its batch is not in the log."""

    id: UUID
    hatched: date
    position: float


def _young_of(sires: Iterable[UUID]) -> dict[UUID, list[_Young]]:
    """By sire, the young on record."""
    rows = list(
        Animal.objects.filter(sire__in=list(sires), hatched__isnull=False).values_list(
            "pk", "sire", "hatched"
        )
    )
    entries = Entry.objects.filter(about__in=[pk for pk, *_ in rows], kind="animal_registered")
    positions = dict(entries.values_list("about", "position")) if rows else {}
    found: dict[UUID, list[_Young]] = {}
    for pk, sire, hatched in rows:
        if sire is not None and hatched is not None:
            found.setdefault(sire, []).append(_Young(pk, hatched, positions.get(pk, inf)))
    return found


def _is_confirmed(call: Call) -> bool:
    """By somebody besides whoever gains by it; or it is the own word of somebody who does not."""
    report = report_of(call)
    return report == "confirmed" or (report == "own" and not call.interested)


def _dam_is_proved(hatched: date, calls: Iterable[Call]) -> bool:
    return any(
        call.method == "reproduction" and is_of_clutch(hatched, call.examined_at.date())
        for call in calls
    )


def _sire_is_proved(
    animal: UUID, hatched: date, calls: Iterable[Call], young: Collection[_Young]
) -> bool:
    """By a test of its whole brood. Young that are registered once the test is stated take no
    proof from those that were on record before: else one more, made up, would undo it."""
    for call in calls:
        before = [one for one in young if one.position < call.position]
        if _is_of_brood(call, hatched, young) or (
            any(one.id == animal for one in before) and _is_of_brood(call, hatched, before)
        ):
            return True
    return False


def _is_of_brood(call: Call, hatched: date, young: Iterable[_Young]) -> bool:
    """A test says of how many young it was. It was of the brood hatched that day if that is the
    newest by then, and all of it was tested."""
    tested, broods = _tested(call), Counter(one.hatched for one in young)
    newest = max((one for one in broods if one <= call.examined_at.date()), default=None)
    return tested > 0 and tested >= broods[hatched] and hatched == newest


def _tested(call: Call) -> int:
    """Of how many young the test leaves nobody else as the sire."""
    observed = msgspec.convert(call.body, CallMade).observed
    if not isinstance(observed, Parentage) or observed.found != "sire":
        return 0
    return observed.young if observed.all_excluded else 0
