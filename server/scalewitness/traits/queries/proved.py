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


def proved_parents(animal: Animal) -> tuple[UUID, UUID] | None:
    """Sire and dam on record, where both are proved to be its parents."""
    if animal.sire is None or animal.dam is None or animal.hatched is None:
        return None
    rows = Call.objects.filter(COUNTS, animal__in=(animal.sire, animal.dam))
    calls = list(
        rows.filter(method__in=("reproduction", "parentage")).prefetch_related("attestations")
    )
    confirmed = [one for one in calls if _is_confirmed(one)]
    if not _dam_is_proved(animal.dam, animal.hatched, confirmed):
        return None
    if not _sire_is_proved(animal.sire, animal.hatched, confirmed):
        return None
    return animal.sire, animal.dam


def _is_confirmed(call: Call) -> bool:
    """By somebody besides whoever gains by it; or it is the own word of somebody who does not."""
    report = report_of(call)
    return report == "confirmed" or (report == "own" and not call.interested)


def _dam_is_proved(dam: UUID, hatched: date, calls: Iterable[Call]) -> bool:
    return any(
        call.animal_id == dam
        and call.method == "reproduction"
        and is_of_clutch(hatched, call.examined_at.date())
        for call in calls
    )


def _sire_is_proved(sire: UUID, hatched: date, calls: Iterable[Call]) -> bool:
    """A test says of how many young it was. It was of this brood if that is the sire's newest by
    then, and all of it was tested."""
    tests = [call for call in calls if call.animal_id == sire and _tested(call)]
    young = Animal.objects.filter(sire=sire, hatched__isnull=False)
    broods = Counter(young.values_list("hatched", flat=True))
    return any(
        _newest(broods, call.examined_at.date()) == hatched and _tested(call) >= broods[hatched]
        for call in tests
    )


def _newest(broods: Iterable[date | None], by: date) -> date | None:
    return max((one for one in broods if one is not None and one <= by), default=None)


def _tested(call: Call) -> int:
    """Of how many young the test leaves nobody else as the sire."""
    observed = msgspec.convert(call.body, CallMade).observed
    if not isinstance(observed, Parentage) or observed.found != "sire":
        return 0
    return observed.young if observed.all_excluded else 0
