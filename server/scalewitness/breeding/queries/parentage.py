"""Whom else the young of a pedigree may be of, and which of them a test of parents speaks of."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final
from uuid import UUID

import msgspec
from django.db.models import Exists, OuterRef, Q

from scalewitness.breeding.models import Pairing, SeasonNote
from scalewitness.breeding.queries.descent import Descent, Descents
from scalewitness.calls.models import COUNTS, Call
from scalewitness.calls.queries.visibility import Reader
from scalewitness.domain.facts import CallMade
from scalewitness.domain.observations import Parentage
from scalewitness.domain.parents import SPERM_KEPT, TO_HATCH
from scalewitness.standings.queries.evidence import with_report

TOGETHER: Final = ("put_together", "seen_together")
"""What of a pairing shows that the dam was with the male."""


@dataclass(frozen=True, slots=True)
class Mates:
    """The males that each dam was with, as far as the reader knows: those that her young are
    stated to be of, by the day of hatching, and those she was meant for, by the season."""

    sired: Mapping[UUID, list[tuple[date | None, UUID]]]
    meant: Mapping[UUID, list[tuple[int, UUID]]]

    def earlier(self, descent: Descent) -> set[UUID]:
        """From whom the dam may have kept sperm; all others, where nobody knows when it was."""
        if descent.dam is None:
            return set()
        if descent.hatched is None:
            named = [*self.sired.get(descent.dam, ()), *self.meant.get(descent.dam, ())]
            return {one for _, one in named}
        since, until = descent.hatched - SPERM_KEPT - TO_HATCH, descent.hatched - TO_HATCH
        sired = {
            one for day, one in self.sired.get(descent.dam, ()) if day and since <= day < until
        }
        years = range(since.year, descent.hatched.year)
        return sired | {one for season, one in self.meant.get(descent.dam, ()) if season in years}

    def beside(self, descent: Descent) -> set[UUID]:
        """Who else she was with in the same season."""
        if descent.dam is None or descent.hatched is None:
            return set()
        sired = {
            one
            for day, one in self.sired.get(descent.dam, ())
            if day and abs(day - descent.hatched) <= TO_HATCH
        }
        year = descent.hatched.year
        return sired | {one for season, one in self.meant.get(descent.dam, ()) if season == year}


def known_mates(descents: Descents, reader: Reader) -> Mates:
    """Of all dams that the reader knows of: a pairing counts while it is planned, or where the two
    were seen together. It is told to whoever holds one of its two, and here only where they see
    both whole."""
    sired: dict[UUID, list[tuple[date | None, UUID]]] = {}
    for one in descents.values():
        if one.sire and one.dam:
            sired.setdefault(one.dam, []).append((one.hatched, one.sire))
    meant: dict[UUID, list[tuple[int, UUID]]] = {}
    seen = SeasonNote.objects.filter(pairing=OuterRef("pk"), what__in=TOGETHER, end=None)
    rows = Pairing.objects.filter(Q(end=None) | Q(Exists(seen)))
    rows = rows.filter(dam__in={one.dam for one in descents.values()})
    for sire, dam, season in rows.values_list("sire", "dam", "season"):
        both = [descents[one].collection for one in (sire, dam) if one in descents]
        if len(both) > 1 and not reader.holds.isdisjoint(both):
            meant.setdefault(dam, []).append((season, sire))
    return Mates(sired, meant)


def tested_young(descents: Descents, wanted: Collection[UUID]) -> dict[UUID, set[UUID]]:
    """By parent, those of its young that a confirmed test of parents speaks of. A test names none:
    it speaks of all that the reader sees of its parent's by then, where it tested just as many."""
    young: dict[UUID, list[tuple[UUID, date]]] = {}
    for one in wanted:
        descent = descents.get(one)
        if descent and descent.hatched:
            for parent in descent.parents:
                young.setdefault(parent, []).append((one, descent.hatched))
    seen = young.keys() & descents.keys()
    found: dict[UUID, set[UUID]] = {}
    for call in with_report(Call.objects.filter(COUNTS, animal__in=seen, method="parentage")):
        day = call.examined_at.date()
        then = {one for one, hatched in young[call.animal_id] if hatched <= day}
        if call.report == "confirmed" and _tested(call) == len(then):
            found.setdefault(call.animal_id, set()).update(then)
    return found


def _tested(call: Call) -> int:
    """Of how many young it leaves nothing else that could explain them."""
    observed = msgspec.convert(call.body, CallMade).observed
    if not isinstance(observed, Parentage) or observed.proves is None:
        return 0
    return observed.young if observed.all_excluded else 0
