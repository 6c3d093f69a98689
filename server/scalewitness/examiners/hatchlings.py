"""The hatchlings an examiner sexed, clutch by clutch."""

from collections import defaultdict
from collections.abc import Iterable

from scalewitness.calls.models import Call
from scalewitness.domain.sexing.clutches import EITHER_SEX
from scalewitness.domain.sexing.examiners.drift import Hatchlings

Clutch = tuple[str, ...]


def clutches_called(calls: Iterable[Call]) -> list[Hatchlings]:
    """Hatchlings by clutch from one examiner's ``calls`` in log order.

    The first conclusion on each animal counts, and none that was given in knowledge of an
    earlier one, which would be somebody else's drift; nor by everting, which finds males alone.
    """
    first: dict[object, Call] = {}
    for call in calls:
        if _own_view(call):
            first.setdefault(call.animal_id, call)
    sexes: defaultdict[Clutch, list[str]] = defaultdict(list)
    for call in first.values():
        sexes[_clutch(call)].append(call.conclusion)
    return [Hatchlings(found.count("male"), found.count("female")) for found in sexes.values()]


def _own_view(call: Call) -> bool:
    concluded = call.method in EITHER_SEX and call.conclusion != "undetermined"
    return not call.over and concluded and call.stage == "hatchling" and call.anchored_to is None


def _clutch(call: Call) -> Clutch:
    """Same parents and hatching day; where they are not known, the same visit or, short of
    one, the same day: what an examiner had in hand together."""
    animal = call.animal
    if animal.hatched and (animal.sire or animal.dam):
        return "parents", str(animal.sire), str(animal.dam), animal.hatched.isoformat()
    if call.visit:
        return "visit", str(call.visit)
    return "day", call.examined_at.date().isoformat()
