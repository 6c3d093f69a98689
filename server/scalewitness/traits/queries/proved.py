"""Whose parents are proved: the dam by eggs or a birth that somebody without a share in her saw
too, the sire by a test of the whole brood that its laboratory confirmed."""

from collections import Counter
from collections.abc import Iterable
from datetime import date
from uuid import UUID

import msgspec

from scalewitness.animals.models import Animal
from scalewitness.calls.models import COUNTS, Call
from scalewitness.calls.queries.reports import report_of
from scalewitness.domain.facts import CallMade
from scalewitness.domain.observations import Parentage
from scalewitness.domain.reports import is_of_clutch


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
    broods = _broods(one for one in named if one in confirmed)
    found: dict[UUID, tuple[UUID, UUID]] = {}
    for animal in wanted:
        sire, dam, hatched = animal.sire, animal.dam, animal.hatched
        if sire is None or dam is None or hatched is None:
            continue
        if not _dam_is_proved(hatched, confirmed.get(dam, ())):
            continue
        if _sire_is_proved(hatched, confirmed.get(sire, ()), broods.get(sire, Counter())):
            found[animal.pk] = sire, dam
    return found


def _broods(sires: Iterable[UUID | None]) -> dict[UUID, Counter[date]]:
    """By sire, how many young are on record of each day of hatching."""
    young = Animal.objects.filter(sire__in=list(sires), hatched__isnull=False)
    found: dict[UUID, Counter[date]] = {}
    for sire, hatched in young.values_list("sire", "hatched"):
        if sire is not None and hatched is not None:
            found.setdefault(sire, Counter())[hatched] += 1
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


def _sire_is_proved(hatched: date, calls: Iterable[Call], broods: Counter[date]) -> bool:
    """A test says of how many young it was. It was of this brood if that is the sire's newest by
    then, and all of it was tested."""
    return any(
        _tested(call) >= broods[hatched]
        and hatched == max((one for one in broods if one <= call.examined_at.date()), default=None)
        for call in calls
        if _tested(call)
    )


def _tested(call: Call) -> int:
    """Of how many young the test leaves nobody else as the sire."""
    observed = msgspec.convert(call.body, CallMade).observed
    if not isinstance(observed, Parentage) or observed.found != "sire":
        return 0
    return observed.young if observed.all_excluded else 0
