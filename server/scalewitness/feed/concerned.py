"""Whom of those who wait a change may concern, found for all of them by one question."""

from typing import Final
from uuid import UUID

from scalewitness.feed.queries import Ends
from scalewitness.ledger.queries.prepared import asked
from scalewitness.receipts.queries import OF_THE_RECORD

NEAR: Final = frozenset(
    {
        "animal_registered",
        "identifier_assigned",
        "husbandry_noted",
        "photo_attached",
        "call_made",
        "standing_changed",
    }
)
"""Facts about an animal, most of all there are, that change nothing but what is known of it."""
MOST: Final = 2_000
"""Entries that are looked at; after more of them everybody is concerned (our judgement)."""

CONCERNED = """
WITH entries AS (
  SELECT kind, about FROM ledger_entry WHERE position >= %(start)s AND position < %(end)s),
near AS (
  SELECT about AS id FROM entries WHERE kind = ANY(%(near)s)
  UNION SELECT id FROM animals_historicalanimal
  WHERE history_id > %(edited)s AND history_id <= %(edits)s),
held AS (
  SELECT collection_id AS id FROM animals_animal WHERE id IN (SELECT id FROM near)
  UNION SELECT came_from FROM animals_custody WHERE animal_id IN (SELECT id FROM near)
  UNION SELECT went_to FROM animals_custody WHERE animal_id IN (SELECT id FROM near))
SELECT NULL::uuid FROM entries WHERE kind <> ALL(%(near)s) AND kind <> ALL(%(nobodys)s)
UNION SELECT keeper_id FROM animals_collection WHERE id IN (SELECT id FROM held)
UNION SELECT to_id FROM people_grant WHERE collection IN (SELECT id FROM held)
UNION SELECT id FROM people_historicalkeeper
  WHERE history_id > %(kept)s AND history_id <= %(keepers)s
"""


def concerned(old: Ends, new: Ends) -> frozenset[UUID] | None:
    """The keepers of whom somebody may be told anything new between ``old`` and ``new``; None where
    it may be anybody.

    There may be more than are told something, and none of the others is: those who hold or ever
    held an animal near the change, and who were ever given sight of a collection in which it was,
    also by a grant that opens later or is over.
    """
    is_anybodys = (old.collections, old.fences) != (new.collections, new.fences)
    if is_anybodys or not 0 <= new.size - old.size <= MOST:
        return None
    given = {
        "start": old.size,
        "end": new.size,
        "near": sorted(NEAR),
        "nobodys": sorted(OF_THE_RECORD),
        "edited": old.animals,
        "edits": new.animals,
        "kept": old.keepers,
        "keepers": new.keepers,
    }
    found = {keeper for (keeper,) in asked(CONCERNED, given)}
    return None if None in found else frozenset(found)
