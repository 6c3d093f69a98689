"""The sheet of a visit: its animals by code, those still to be checked first."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import conditions_of
from scalewitness.calls.models import Call
from scalewitness.calls.queries.visibility import visible_animals
from scalewitness.domain.methods import METHODS
from scalewitness.pages.animals.animal import blind_view
from scalewitness.visits.models import Visit

USUAL = "probing"
"""The method whose form opens first, until the guest has used another on the visit."""


@dataclass(frozen=True, slots=True)
class SheetRow:
    """``animal`` as a blind guest may know it; ``own``: the reader's call on the visit."""

    animal: dict[str, Any]
    own: Call | None

    @property
    def code(self) -> str:
        codes = self.animal["codes"]
        return str(codes[0]["code"]) if codes else "No code"

    @property
    def place(self) -> tuple[bool, str, str]:
        return not self.animal["codes"], self.code, str(self.animal["id"])


@dataclass(frozen=True, slots=True)
class GuestSheet:
    """In the order of the codes, so that nothing hangs on what is known of the animals. ``alone``:
    those that a guest who is still blind to them is to leave alone for now."""

    visit: Visit
    waiting: list[SheetRow]
    checked: list[SheetRow]
    alone: list[SheetRow]

    @property
    def count(self) -> int:
        return len(self.waiting) + len(self.checked)

    @property
    def method(self) -> str:
        """What the guest did last on this visit, where it can be done at the racks."""
        made = [one.own for one in self.checked if one.own]
        last = max(made, key=lambda call: call.position).method if made else USUAL
        return last if METHODS[last].at_the_rack else USUAL

    def after(self, animal: UUID) -> SheetRow | None:
        """The next to be checked, from that animal on and then from the top again."""
        before = [one.place for one in self.checked if one.animal["id"] == animal]
        later = [one for one in self.waiting if before and one.place > before[0]]
        return next(iter(later or self.waiting), None)


def sheet_of(keeper: UUID, visit: Visit, now: datetime) -> GuestSheet:
    """As the keeper may see it: a guest while the visit is open, a host at any time. A row stays
    blind for everyone, and says only that one's own call is in."""
    seen = visible_animals(keeper, now).filter(pk__in=visit.animals.values("pk"), ended="")
    animals = list(seen.prefetch_related("identifiers"))
    own = Call.objects.filter(visit=visit.pk, by=keeper, animal__in=animals)
    calls = {call.animal_id: call for call in own.order_by("position")}
    rows = sorted(_rows(animals, calls), key=lambda row: row.place)
    alone = [one for one in rows if visit.blind and not one.own and one.animal["hold_off"]]
    return GuestSheet(
        visit,
        waiting=[one for one in rows if not one.own and one not in alone],
        checked=[one for one in rows if one.own],
        alone=alone,
    )


def _rows(animals: Sequence[Animal], calls: dict[UUID, Call]) -> Iterable[SheetRow]:
    known = conditions_of(one.pk for one in animals)
    return (SheetRow(blind_view(one, known[one.pk]), calls.get(one.pk)) for one in animals)
