"""Claims of traits that fall, or stand again: which could, and what their chance is now."""

from collections.abc import Iterable, Iterator, Mapping, Set
from itertools import groupby
from typing import NamedTuple
from uuid import UUID

from django.db.models import Exists, OuterRef, Q, QuerySet

from scalewitness.animals.models import Animal, Collection, Custody
from scalewitness.domain.genetics.falling import (
    FALLS_AT,
    FOUND,
    Kin,
    chance_of_claim,
    may_fall,
)
from scalewitness.domain.genetics.stated import Statement
from scalewitness.domain.genetics.traits import loci_of
from scalewitness.standings.queries.logged import latest_standings
from scalewitness.traits.models import ClaimChange, TraitWithdrawal
from scalewitness.traits.queries import (
    IN_FORCE,
    Worded,
    as_statements,
    statement_rows,
    statements_of,
)
from scalewitness.traits.queries.proved import proved_parents


class Judged(NamedTuple):
    """A claim as it is now. ``chance``: None where its parents are not proved."""

    animal: Animal
    claim: Statement
    chance: float | None
    fell: bool
    """Whether it fell before."""

    @property
    def falls(self) -> bool:
        return self.chance is not None and self.chance <= FALLS_AT

    @property
    def changes(self) -> bool:
        return self.falls != self.fell


def judged_near(touched: Set[UUID]) -> Iterator[Judged]:
    """The claims of these animals and of their young that are not as they were."""
    rows = list(_at_stake(touched))
    fallen = fallen_among(one.pk for one in rows)
    for _, own in groupby(rows, lambda one: one.animal_id):
        listed = list(own)
        animal = listed[0].animal
        parents = proved_parents(animal)
        if parents is None and not fallen & {one.pk for one in listed}:
            continue
        chances = _chances(animal, parents, as_statements(listed))
        for claim, chance in chances:
            found = Judged(animal, claim, chance, claim.id in fallen)
            if found.changes:
                yield found


def _at_stake(touched: Set[UUID]) -> QuerySet[Worded]:
    """By animal. One that fell may stand again also when a parent is on record no more."""
    near = Q(animal__in=touched) | Q(animal__sire__in=touched) | Q(animal__dam__in=touched)
    has_both = Q(animal__sire__isnull=False, animal__dam__isnull=False)
    changed = Exists(ClaimChange.objects.filter(statement=OuterRef("pk")))
    rows = statement_rows().filter(near, has_both | changed, **IN_FORCE)
    rows = rows.exclude(Q(locus="") | Q(says="may_carry"))
    return rows.select_related("animal__collection__keeper").order_by("animal", "position")


def fallen_among(statements: Iterable[UUID]) -> set[UUID]:
    """Those of the claims that fell and do not stand again."""
    rows = ClaimChange.objects.filter(statement__in=list(statements)).order_by("position")
    last = dict(rows.values_list("statement", "fell"))
    return {statement for statement, fell in last.items() if fell}


def gone_at(statements: Iterable[UUID], at: int | None) -> dict[UUID, str]:
    """What had become at that log position of those that do not stand, in words; now when None."""
    named = list(statements)
    changes = ClaimChange.objects.filter(statement__in=named).order_by("position")
    backs = TraitWithdrawal.objects.filter(statement__in=named)
    if at is not None:
        changes, backs = changes.filter(position__lte=at), backs.filter(position__lte=at)
    last = dict(changes.values_list("statement", "fell"))
    found = {one: " (it fell)" for one, fell in last.items() if fell}
    return found | dict.fromkeys(backs.values_list("statement", flat=True), " (withdrawn)")


def _chances(
    animal: Animal, parents: tuple[UUID, UUID] | None, claims: list[Statement]
) -> Iterator[tuple[Statement, float | None]]:
    loci = {one.key: one for one in loci_of(animal.species)}
    able = [one for one in claims if may_fall(one, loci.get(one.locus or ""))]
    if parents is None:
        yield from ((one, None) for one in able)
        return
    family = (animal.pk, *parents)
    counted = _counted(family)
    standing = latest_standings([animal.pk]).get(animal.pk)
    male = float(standing.p_male) if standing else 0.5
    young, sire, dam = (
        Kin(str(one), chance, counted.get(one, []))
        for one, chance in zip(family, (male, 1.0, 0.0), strict=True)
    )
    for one in able:
        yield one, chance_of_claim(one, loci[one.locus or ""], young, sire, dam)


def _counted(family: tuple[UUID, UUID, UUID]) -> Mapping[UUID, list[Statement]]:
    """What was found of each by whoever kept it then or before: a stranger who may look at two
    parents makes no claim fall, and neither does who bought the animal and gains by it."""
    keepers = _keepers(family)
    return {
        animal: [one for one in found if one.basis in FOUND and one.by in keepers[animal]]
        for animal, found in statements_of(family).items()
    }


def _keepers(family: tuple[UUID, UUID, UUID]) -> dict[UUID, set[UUID]]:
    rooms: dict[UUID, set[UUID]] = {one: set() for one in family}
    held = Animal.objects.filter(pk__in=family).values_list("pk", "collection")
    moves = Custody.objects.filter(animal__in=family)
    for animal, room in (*held, *moves.values_list("animal", "came_from")):
        rooms[animal].add(room)
    for animal, room in moves.filter(animal=family[0], why="sold").values_list("animal", "went_to"):
        rooms[animal].discard(room)
    named = {room for found in rooms.values() for room in found}
    keeps = dict(Collection.objects.filter(pk__in=named).values_list("pk", "keeper"))
    return {animal: {keeps[room] for room in found} for animal, found in rooms.items()}


def any_claims(touched: Iterable[UUID]) -> bool:
    """Whether there is a claim of these animals or of their young to look at: of hardly any."""
    return _at_stake(set(touched)).exists()
