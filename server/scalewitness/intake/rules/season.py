"""The season as it happens: noted by whoever holds one of a pairing and is told of it."""

from datetime import date
from typing import cast
from uuid import UUID

from scalewitness.animals.queries import is_steward
from scalewitness.breeding import services
from scalewitness.breeding.models import Pairing
from scalewitness.breeding.queries.notes import has_noted, note_of
from scalewitness.breeding.queries.pairings import is_open_to, pairing_of
from scalewitness.domain.errors import NotFound, NotNow, OutOfRange
from scalewitness.domain.facts import SeasonNoted, SeasonNoteWithdrawn
from scalewitness.intake.batch import Batch
from scalewitness.intake.submission import Sealed

YEARS = 1
"""A note is of the season's year or of one so many years to either side: females are put to a male
in the autumn before, and young may hatch after the turn of the year (our judgement)."""


def season_noted(fact: Sealed, batch: Batch) -> int:
    """Before the plan too: many state a pairing once it was seen. Of what nobody can have seen of
    these two, nothing."""
    body = cast(SeasonNoted, fact.body)
    pairing, keeper = _open(fact.about, batch)
    if hasattr(pairing, "end"):
        raise NotNow("This pairing is no longer planned. Plan it again to note more of it.")
    on = date.fromisoformat(body.on)
    if abs(on.year - pairing.season) > YEARS:
        raise OutOfRange(
            f"That day is far from the season {pairing.season}, in which its young are expected.",
            pointer="/body/on",
        )
    if any(one.hatched and on <= one.hatched for one in (pairing.sire, pairing.dam)):
        raise OutOfRange("One of the two had not hatched before that day.", pointer="/body/on")
    if has_noted(pairing.pk, keeper, body.what, on):
        raise NotNow("You noted that of this day already. Withdraw it first if it was not so.")
    logged = batch.log(fact)
    services.store_note(logged)
    return logged.position


def season_note_withdrawn(fact: Sealed, batch: Batch) -> int:
    """By whoever noted it. What somebody noted who no longer holds either of the two, any of those
    who do may put right."""
    body = cast(SeasonNoteWithdrawn, fact.body)
    pairing, keeper = _open(fact.about, batch)
    note = note_of(UUID(body.noted))
    if note is None or note.pairing_id != pairing.pk:
        raise NotFound("There is no such note of this pairing.", pointer="/body/noted")
    if note.by != keeper and _holds_one(note.by, pairing, batch):
        raise NotNow("Only whoever noted it can withdraw it. Note what you saw yourself.")
    if hasattr(note, "end"):
        raise NotNow("This note was withdrawn already.")
    logged = batch.log(fact)
    services.store_note_end(logged)
    return logged.position


def _open(about: UUID, batch: Batch) -> tuple[Pairing, UUID]:
    """The pairing and the actor, if they hold one of the two and are told of it; else as if there
    were none."""
    pairing, keeper = pairing_of(about), batch.actor.keeper
    if pairing is None or keeper is None or not is_open_to(keeper, pairing, batch.now):
        raise NotFound()
    return pairing, keeper


def _holds_one(keeper: UUID, pairing: Pairing, batch: Batch) -> bool:
    rooms = (pairing.sire.collection, pairing.dam.collection)
    return any(is_steward(keeper, room, batch.now) for room in rooms)
