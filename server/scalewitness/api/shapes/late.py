"""What came late, as whoever sent it and its host are shown it."""

from datetime import datetime
from uuid import UUID

from msgspec import Struct

from scalewitness.api.shapes.calls import HeldCallShown, OwnCall
from scalewitness.api.shapes.people import Person, named
from scalewitness.calls.models import HeldCall


class HeldNoteShown(Struct, frozen=True):
    """A note that came long after its visit. ``admitted``: decided by itself; None: it waits with
    its check or, where that has not come within 14 days, for its host."""

    id: UUID
    animal: UUID
    by: Person
    noted_at: datetime
    received_at: datetime
    admitted: bool | None


class HeldCalls(Struct, frozen=True):
    """``own``: those that you sent, the latest first, also when decided on. ``notes``: whose check
    has not come, for your decision; ``own_notes``: those that you sent."""

    items: list[HeldCallShown]
    own: list[OwnCall]
    notes: list[HeldNoteShown]
    own_notes: list[HeldNoteShown]


def held_note(one: HeldCall, names: dict[UUID, str]) -> HeldNoteShown:
    return HeldNoteShown(
        id=one.pk,
        animal=one.animal_id,
        by=named(one.by, names),
        noted_at=datetime.fromisoformat(one.submission["at"]),
        received_at=one.received_at,
        admitted=one.decision_made,
    )
