"""Animals that travelled together: what the record tells of whether labels were mixed up."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal
from uuid import UUID

import msgspec

from scalewitness.animals.models import Animal, Custody, Husbandry
from scalewitness.animals.queries import identifiers_of
from scalewitness.calls.models import Call
from scalewitness.calls.queries.visibility import visible_animals
from scalewitness.domain.consequences import sex_of
from scalewitness.domain.errors import NotFound
from scalewitness.domain.facts import CallMade
from scalewitness.domain.identifiers import plain_code
from scalewitness.domain.sexing.gauge import case_by
from scalewitness.domain.sexing.swaps import Swaps, Traveller, WeightReading, swaps
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.standings.queries.assessing import Yardstick, yardstick
from scalewitness.standings.queries.evidence import StatedCall, counting_calls, evidence_of
from scalewitness.standings.queries.linkage import start_of

FEWEST, MOST = 2, 12
"""Beyond twelve the mix-ups not followed one by one could only be bounded."""

Because = Literal["said", "last_move", "first_contradiction", "nothing_apart"]
"""How the moment of the move was taken: as asked; the last move between collections; just
before the first call that contradicts an earlier one or read another code; or none."""


@dataclass(frozen=True, slots=True)
class Compared:
    """The comparison, labels being ids of animals. ``moved_at`` None: nothing sets earlier
    checks apart from later ones, so all count as made before."""

    animals: tuple[Animal, ...]
    found: Swaps
    moved_at: datetime | None
    because: Because
    parameters: str


def travellers_seen(keeper: UUID, animals: Iterable[UUID], now: datetime) -> list[Animal]:
    """The animals, by id.

    Raises:
        NotFound: one of them is not the keeper's to see whole.
    """
    wanted = set(animals)
    found: list[Animal] = [*visible_animals(keeper, now).filter(pk__in=wanted, sight="all")]
    if len(found) != len(wanted):
        raise NotFound()
    return found


def compare_labels(animals: Sequence[Animal], moved_at: datetime | None = None) -> Compared:
    """Weigh every way the labels may have been mixed up when the animals moved at
    ``moved_at``; the caller has checked that they may be shown."""
    by = yardstick()
    calls = {animal.pk: counting_calls(animal.pk) for animal in animals}
    codes = _Codes(animals)
    when, because = _moment(animals, calls, codes, moved_at)
    group = [_traveller(animal, calls[animal.pk], codes, when, by) for animal in animals]
    found = swaps(group, by.records, by.numbers)
    return Compared(tuple(animals), found, when, because, by.parameters)


class _Codes:
    """Transponders of the group. Tags are left out: they stay with the tub or the paper,
    and so say nothing of which animal is in it."""

    def __init__(self, animals: Sequence[Animal]) -> None:
        marks = identifiers_of(animal.pk for animal in animals)
        own = {
            animal: [one.code for one in found if one.scheme == "transponder"]
            for animal, found in marks.items()
        }
        self._current = {animal: codes[-1] for animal, codes in own.items() if codes}
        # An animal that lost a transponder has two; either names it.
        self._names = {code: codes[-1] for codes in own.values() for code in codes}

    def of(self, animal: UUID) -> str | None:
        return self._current.get(animal)

    def read(self, call: Call) -> str | None:
        """The transponder read at a call, as the code its bearer is known by."""
        read = msgspec.convert(call.body, CallMade).identified
        if read.by != "transponder" or read.code is None:
            return None
        code = plain_code(read.by, read.code)
        return self._names.get(code, code)


# --- when they moved --------------------------------------------------------------------


def _moment(
    animals: Sequence[Animal],
    calls: Mapping[UUID, Sequence[Call]],
    codes: _Codes,
    asked: datetime | None,
) -> tuple[datetime | None, Because]:
    if asked is not None:
        return asked, "said"
    moves = Custody.objects.filter(animal__in=[animal.pk for animal in animals])
    last = moves.order_by("-at").first()
    if last is not None:
        return last.at, "last_move"
    trouble = [at for animal in animals for at in _contradictions(calls[animal.pk], codes)]
    return (min(trouble), "first_contradiction") if trouble else (None, "nothing_apart")


def _contradictions(calls: Sequence[Call], codes: _Codes) -> Iterable[datetime]:
    """When a check found another sex than an earlier one, or read another's transponder."""
    conclusions: set[str] = set()
    for call in sorted(calls, key=lambda one: (one.examined_at, one.position)):
        own, read = codes.of(call.animal_id), codes.read(call)
        if call.conclusion != "undetermined":
            if conclusions - {call.conclusion}:
                yield call.examined_at
            conclusions.add(call.conclusion)
        if own is not None and read is not None and read != own:
            yield call.examined_at


# --- what is known of each label --------------------------------------------------------


def _traveller(
    animal: Animal,
    calls: Sequence[StatedCall],
    codes: _Codes,
    when: datetime | None,
    by: Yardstick,
) -> Traveller:
    before = [call for call in calls if when is None or call.examined_at < when]
    after = [call for call in calls if when is not None and call.examined_at >= when]
    evidence = tuple(evidence_of(call) for call in before)
    start = start_of(animal, by.numbers)
    standing = case_by(by, animal.species, evidence, start).standing(by.policy)
    weight_before, weight_after = _weights(animal.pk, when)
    return Traveller(
        label=str(animal.pk),
        taxon=taxon(animal.species, by.parameters),
        stated=sex_of(standing.label),
        before=evidence,
        after=tuple(evidence_of(call) for call in after),
        code=codes.of(animal.pk),
        reads=tuple(read for call in after if (read := codes.read(call)) is not None),
        weight_before=weight_before,
        weight_after=weight_after,
        prior_male=start.male,
    )


def _weights(
    animal: UUID, when: datetime | None
) -> tuple[WeightReading | None, WeightReading | None]:
    """The last weight before the move and the first after it."""
    if when is None:
        return None, None
    notes = Husbandry.objects.filter(animal=animal, type="weight").order_by("at", "position")
    return _weight(notes.filter(at__lt=when).last()), _weight(notes.filter(at__gte=when).first())


def _weight(note: Husbandry | None) -> WeightReading | None:
    if note is None or float(note.noted["grams"]) <= 0:
        return None
    return WeightReading(float(note.noted["grams"]), round(note.at.timestamp() * 1000))
