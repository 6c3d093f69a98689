"""Transponder numbers that more than one record bears. A transponder is in one snake only; the
record that bore it first is the older, whoever else types it."""

from collections.abc import Iterable
from uuid import UUID

from django.db.models import Exists, OuterRef

from scalewitness.animals.models import Identifier, IdentifierWithdrawal
from scalewitness.domain.identifiers import TEST_COUNTRY, names_one_animal, plain_code
from scalewitness.ledger.queries.prepared import PreparedQuery, asked

FIRST_BEARERS = """
SELECT DISTINCT ON (given.code) given.code, given.animal_id, given.gone FROM (
  SELECT one.code, one.animal_id, one.position, EXISTS (
    SELECT FROM animals_identifierwithdrawal AS off
    WHERE off.animal_id = one.animal_id AND off.scheme = one.scheme AND off.code = one.code
      AND off.position > one.position) OR EXISTS (
    SELECT FROM animals_animal AS slip
    WHERE slip.id = one.animal_id AND slip.ended = 'error') AS gone
  FROM animals_identifier AS one
  WHERE one.scheme = 'transponder' AND one.code = ANY(%s::text[])) AS given
ORDER BY given.code, given.gone, CASE WHEN given.gone THEN -given.position ELSE given.position END
"""
BORNE_YET = """
SELECT EXISTS (
  SELECT FROM animals_identifier WHERE scheme = 'transponder' AND code = ANY(%s::text[]))
"""


def number_of(scheme: str, code: str) -> str | None:
    """The plain code, where it is of one snake only.

    Raises:
        ValueError: not a transponder code.
    """
    plain = plain_code(scheme, code)
    return plain if names_one_animal(scheme, plain) else None


def first_bearers_question(codes: Iterable[str]) -> PreparedQuery:
    """What `first_bearers` asks."""
    return PreparedQuery(FIRST_BEARERS, [sorted(codes)])


def first_bearers(codes: Iterable[str]) -> tuple[dict[str, UUID], dict[str, UUID]]:
    """By number, the animal that has borne it for longest; and of those that none bears now, the
    last that did. Numbers that none ever bore are absent."""
    rows = asked(*first_bearers_question(codes))
    borne, gone = ({code: one for code, one, off in rows if off is is_} for is_ in (False, True))
    return borne, gone


def borne_question(codes: Iterable[str]) -> PreparedQuery:
    """Asks whether any animal was ever given one of these numbers."""
    return PreparedQuery(BORNE_YET, [sorted(codes)])


def also_on(animal: UUID) -> set[UUID]:
    """Other animals that bear a number of its."""
    borne = Identifier.objects.filter(scheme="transponder")
    own = borne.filter(animal=animal).exclude(code__startswith=str(TEST_COUNTRY))
    rows = borne.filter(code__in=own.values("code")).exclude(animal=animal)
    return set(rows.values_list("animal", flat=True))


def borne_at(animals: Iterable[UUID], position: int) -> dict[UUID, list[Identifier]]:
    """What each bore just after the fact at that log position, in the order assigned; animals that
    bore nothing are absent."""
    withdrawn = IdentifierWithdrawal.objects.filter(
        animal=OuterRef("animal"),
        scheme=OuterRef("scheme"),
        code=OuterRef("code"),
        position__gt=OuterRef("position"),
        position__lte=position,
    )
    rows = Identifier.ever.filter(
        ~Exists(withdrawn), animal__in=list(animals), position__lte=position
    )
    found: dict[UUID, list[Identifier]] = {}
    for one in rows.order_by("position"):
        found.setdefault(one.animal_id, []).append(one)
    return found
