"""Records that are of one snake, as the keepers of both agreed, or a finding says."""

from collections.abc import Iterable
from uuid import UUID

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.db.models.expressions import RawSQL

from scalewitness.animals.models import Joining, JoiningAnswer
from scalewitness.ledger.queries.prepared import PreparedQuery, asked, ids_literal

EVER = 2**62
"""After any log position."""
NEVER = -1
"""Before any."""
REACHED = """
WITH RECURSIVE reached (start, animal) AS (
  SELECT given.id, given.id FROM unnest(%s::uuid[]) AS given (id)
  UNION
  SELECT reached.start, pair.other FROM reached CROSS JOIN LATERAL (
    SELECT answer.animal_id AS other, answer.proposal_id, answer.position
    FROM animals_joining AS one JOIN animals_joininganswer AS answer ON answer.proposal_id = one.id
    WHERE one.animal_id = reached.animal AND one.parts_id IS NULL AND answer.agrees
    UNION ALL
    SELECT one.animal_id, answer.proposal_id, answer.position
    FROM animals_joininganswer AS answer JOIN animals_joining AS one ON answer.proposal_id = one.id
    WHERE answer.animal_id = reached.animal AND one.parts_id IS NULL AND answer.agrees) AS pair
  WHERE pair.position <= %s AND NOT EXISTS (
    SELECT FROM animals_joining AS undone
    JOIN animals_joininganswer AS agreed ON agreed.proposal_id = undone.id
    WHERE undone.parts_id = pair.proposal_id AND agreed.agrees AND agreed.position <= %s))
"""
OTHERS = f"{REACHED}SELECT start, animal FROM reached WHERE start <> animal"  # noqa: S608  ours
ALL = f"{REACHED}SELECT animal FROM reached"  # noqa: S608  ours


def joined_question(animals: Iterable[UUID]) -> PreparedQuery:
    """What `joined` asks of things as they are now."""
    return PreparedQuery(OTHERS, [ids_literal(animals), EVER, EVER])


def joined(animals: Iterable[UUID], at: int | None = None) -> dict[UUID, set[UUID]]:
    """The other records of the same snake, of each animal that has any; as things are now, or just
    after the fact at log position ``at``."""
    until = EVER if at is None else at
    found: dict[UUID, set[UUID]] = {}
    for animal, other in asked(OTHERS, [ids_literal(animals), until, until]):
        found.setdefault(animal, set()).add(other)
    return found


def ever_joined(animals: Iterable[UUID]) -> dict[UUID, set[UUID]]:
    """As :func:`joined`, with those that were parted since: what somebody was told they know."""
    found: dict[UUID, set[UUID]] = {}
    for animal, other in asked(OTHERS, [ids_literal(animals), EVER, NEVER]):
        found.setdefault(animal, set()).add(other)
    return found


def ever_of(animal: UUID) -> RawSQL:
    """All records that are of the snake or were ever said to be, this one among them; for a query
    that looks among those."""
    return RawSQL(ALL, [[animal], EVER, NEVER])  # noqa: S611  written here


def same_snake(animal: UUID, at: int | None = None) -> set[UUID]:
    """All records of the snake, this one among them; ``at`` as :func:`joined`."""
    return {animal, *joined([animal], at).get(animal, ())}


def proposal_of(proposal: UUID) -> Joining | None:
    return Joining.objects.filter(pk=proposal).select_related("animal", "other").first()


def is_agreed(proposal: Joining) -> bool:
    return proposal.answers.filter(agrees=True).exists()


def in_force(proposal: Joining) -> bool:
    """Whether it joins two records now."""
    if proposal.parts_id is not None or not is_agreed(proposal):
        return False
    return not JoiningAnswer.objects.filter(proposal__parts=proposal, agrees=True).exists()


def standing_between(animal: UUID, other: UUID) -> QuerySet[Joining]:
    """Proposals to join these two that nobody parted since, whatever was answered."""
    pair = Q(animal=animal, other=other) | Q(animal=other, other=animal)
    parted = JoiningAnswer.objects.filter(proposal__parts=OuterRef("pk"), agrees=True)
    return Joining.objects.filter(pair, ~Exists(parted), parts=None).order_by("position")


def to_answer(proposals: Iterable[Joining], animal: UUID) -> list[Joining]:
    """Those that this animal's keeper was asked, and to which nobody has agreed yet."""
    return [
        one
        for one in proposals
        if one.other_id == animal and not any(each.agrees for each in one.answers.all())
    ]


def asked_of(animal: UUID) -> QuerySet[Joining]:
    """As :func:`to_answer`, to be read with others."""
    agreed = JoiningAnswer.objects.filter(proposal=OuterRef("pk"), agrees=True)
    return Joining.objects.filter(~Exists(agreed), other=animal).order_by("position")


def joins_of(proposals: Iterable[Joining]) -> list[Joining]:
    """Those that join two records now."""
    return [one for one in proposals if in_force(one)]


def proposals_about(animal: UUID) -> list[Joining]:
    """Those that it is one of the two of, in log order, with what was answered."""
    rows = Joining.objects.filter(Q(animal=animal) | Q(other=animal)).order_by("position")
    return list(rows.select_related("animal", "other").prefetch_related("answers"))
