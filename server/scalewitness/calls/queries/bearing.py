"""Whose a transponder's number is, where several records bear it.

It is that of the record which was first checked under it by somebody else: without an interest, in
their own word, which has a footing. Who reads the number at a check has it from the snake; of the
record that bore it first, any such check will do that was made while no other bore it. Where there
is none of either, it is the record's that was given it first: typing a number proves nothing.
"""

from collections.abc import Iterable, Mapping, Set
from dataclasses import dataclass
from uuid import UUID

from scalewitness.animals.queries.joining import joined
from scalewitness.ledger.queries.prepared import PreparedQuery, asked, ids_literal

FIRST_TWO = """
WITH borne AS NOT MATERIALIZED (
  SELECT one.animal_id, one.code, one.position FROM animals_identifier AS one
  WHERE one.scheme = 'transponder' AND NOT EXISTS (
    SELECT FROM animals_identifierwithdrawal AS off
    WHERE off.animal_id = one.animal_id AND off.scheme = one.scheme AND off.code = one.code
      AND off.position > one.position) AND NOT EXISTS (
    SELECT FROM animals_animal AS slip
    WHERE slip.id = one.animal_id AND slip.ended = 'error')),
shared AS MATERIALIZED (
  SELECT DISTINCT mine.animal_id, mine.code FROM borne AS mine
  WHERE mine.animal_id = ANY(%s::uuid[]) AND mine.code NOT LIKE '999%%' AND EXISTS (
    SELECT FROM borne AS another
    WHERE another.code = mine.code AND another.animal_id <> mine.animal_id))
SELECT shared.animal_id, shared.code, ARRAY(
  SELECT bearer.animal_id FROM (
    SELECT given.animal_id, given.position,
      CASE WHEN row_number() OVER in_order = 1 THEN lead(given.position) OVER in_order END
        AS alone_until
    FROM (
      SELECT borne.animal_id, min(borne.position) AS position FROM borne
      WHERE borne.code = shared.code GROUP BY borne.animal_id) AS given
    WINDOW in_order AS (ORDER BY given.position)) AS bearer
  CROSS JOIN LATERAL (
    SELECT min(made.position) AS position FROM calls_call AS made
    WHERE made.animal_id = bearer.animal_id AND made.role = 'keeper' AND NOT made.interested
      AND made.footing <> 'none' AND made.one_with = '' AND made.identity <> 'mismatch'
      AND (made.position < bearer.alone_until OR (
        made.identity = 'confirmed' AND made.body->'identified'->>'by' = 'transponder'
        AND regexp_replace(made.body->'identified'->>'code', '[^0-9]', '', 'g') = shared.code))
      AND (NOT made.waits OR EXISTS (
        SELECT FROM calls_waitended WHERE calls_waitended.call_id = made.id))
      AND NOT EXISTS (SELECT FROM calls_joined WHERE calls_joined.call_id = made.id)
      AND NOT EXISTS (SELECT FROM calls_withdrawal WHERE calls_withdrawal.call_id = made.id)
      AND NOT EXISTS (SELECT FROM calls_setaside WHERE calls_setaside.call_id = made.id)
      AND NOT EXISTS (SELECT FROM calls_call AS again WHERE again.refiles_id = made.id)
      AND NOT EXISTS (SELECT FROM people_deceit WHERE people_deceit.keeper_id = made.by)
  ) AS checked
  ORDER BY checked.position NULLS LAST, bearer.position LIMIT 2)
FROM shared
"""
"""Of each animal that shares a number, and each such number, the record whose it is and the
next."""


READ_ELSEWHERE = """
SELECT DISTINCT mine.animal_id FROM animals_identifier AS mine
JOIN animals_identifier AS theirs
  ON theirs.code = mine.code AND theirs.scheme = mine.scheme AND theirs.animal_id <> mine.animal_id
WHERE mine.animal_id = ANY(%s::uuid[]) AND mine.scheme = 'transponder'
  AND mine.code NOT LIKE '999%%' AND (
    EXISTS (
      SELECT FROM calls_call AS made
      WHERE made.animal_id = theirs.animal_id AND made.by = %s AND made.identity = 'confirmed'
        AND made.body->'identified'->>'by' = 'transponder'
        AND regexp_replace(made.body->'identified'->>'code', '[^0-9]', '', 'g') = mine.code)
    OR EXISTS (
      SELECT FROM animals_animal AS kept
      JOIN animals_collection AS room ON room.id = kept.collection_id
      WHERE kept.id = theirs.animal_id AND room.keeper_id = %s))
"""


@dataclass(frozen=True, slots=True)
class Bearing:
    """Of an animal that shares a number. ``elsewhere``: the record of another snake holds one of
    them; ``rivals``: of each number the record that holds it, or else the next."""

    elsewhere: bool = False
    rivals: frozenset[UUID] = frozenset()


ALONE = Bearing()


def bearings_question(animals: Iterable[UUID]) -> PreparedQuery:
    """What `bearings` asks."""
    return PreparedQuery(FIRST_TWO, [ids_literal(animals)])


def bearings(
    animals: Iterable[UUID], same: Mapping[UUID, Set[UUID]] | None = None
) -> dict[UUID, Bearing]:
    """Those of the animals that share a number; others are absent. ``same``: as `joined` has it,
    where that is known."""
    rows = asked(*bearings_question(animals))
    if same is None:
        same = joined({animal for animal, *_ in rows}) if rows else {}
    found: dict[UUID, Bearing] = {}
    for animal, _, (holder, following) in rows:
        before, own = found.get(animal, ALONE), {animal, *same.get(animal, ())}
        rivals = {following if holder == animal else holder} - own
        elsewhere = before.elsewhere or holder not in own
        found[animal] = Bearing(elsewhere, before.rivals | rivals)
    return found


def other_bearer(animal: UUID, code: str) -> UUID | None:
    """Of a number of the animal's: the record whose it is, or else the next that bears it; None
    where no other does."""
    for _, shared, (holder, following) in asked(*bearings_question([animal])):
        if shared == code:
            return UUID(str(following if holder == animal else holder))
    return None


def numbers_shared(animal: UUID) -> list[str]:
    """Those of its numbers that another record bears too."""
    return sorted({code for _, code, _ in asked(*bearings_question([animal]))})


def read_elsewhere(person: UUID, animals: Iterable[UUID]) -> set[UUID]:
    """Those of the animals whose number they know from another record: they read it at a check of
    that, or keep it. That somebody else gave a record this number, or showed them one, is nothing
    that they need know of; else it would spoil other people's checks."""
    wanted = list(animals)
    if not wanted:
        return set()
    return {one for (one,) in asked(READ_ELSEWHERE, [ids_literal(wanted), person, person])}


def known_elsewhere(animals: Iterable[UUID]) -> set[UUID]:
    """Those of the animals that bear a number which is another record's."""
    return {animal for animal, one in bearings(animals).items() if one.elsewhere}
