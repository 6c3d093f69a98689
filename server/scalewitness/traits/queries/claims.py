"""Claims of traits that fall, or stand again: which could, and what their chance is now."""

from collections.abc import Hashable, Iterable, Mapping, Set
from typing import Final, NamedTuple
from uuid import UUID

from django.db.models import Exists, OuterRef, Q, QuerySet

from scalewitness.animals.models import Animal, Collection, Custody
from scalewitness.domain.genetics.falling import (
    FALLS_AT,
    Kin,
    chance_of_claim,
    may_fall,
)
from scalewitness.domain.genetics.stated import Statement
from scalewitness.domain.genetics.stated_words import locus_named
from scalewitness.ledger.queries.prepared import asked, ids_literal
from scalewitness.people.models import Grant
from scalewitness.standings.queries.logged import latest_standings
from scalewitness.traits.models import ClaimChange, TraitWithdrawal
from scalewitness.traits.queries import (
    IN_FORCE,
    Worded,
    as_statements,
    statement_rows,
    statements_of,
)
from scalewitness.traits.queries.proved import proved_among


class Judged(NamedTuple):
    """A claim as it is now. ``chance``: None where its parents are not proved."""

    animal: Animal
    claim: Statement
    chance: float | None

    @property
    def falls(self) -> bool:
        return self.chance is not None and self.chance <= FALLS_AT

    @property
    def changes(self) -> bool:
        return self.falls != self.claim.fell


def judged_near(touched: Set[UUID]) -> list[Judged]:
    """The claims of these animals and of their young that are not as they were: of a sire's
    hundreds of young all at once. Those of its keepers alone (:func:`makers_for`): a stranger who
    may look at the young could else find out what its parents carry, by stating all there is."""
    rows = list(_at_stake(touched))
    makers = makers_for({one.animal_id for one in rows})
    rows = [one for one in rows if one.by in makers[one.animal_id]]
    families = Families({one.animal_id: one.animal for one in rows})
    found = (
        Judged(row.animal, claim, families.chance(row.animal, claim))
        for row, claim in zip(rows, as_statements(rows), strict=True)
        if may_fall(claim, locus_named(row.animal.species, claim.locus))
    )
    return [one for one in found if one.changes]


def _at_stake(touched: Set[UUID]) -> QuerySet[Worded]:
    """By animal. One that fell may stand again also when a parent is on record no more."""
    near = Q(animal__in=touched) | Q(animal__sire__in=touched) | Q(animal__dam__in=touched)
    has_both = Q(animal__sire__isnull=False, animal__dam__isnull=False)
    changed = Exists(ClaimChange.objects.filter(statement=OuterRef("pk")))
    rows = statement_rows().filter(near, has_both | changed, **IN_FORCE)
    rows = rows.exclude(Q(locus="") | Q(says="may_carry"))
    return rows.select_related("animal__collection__keeper").order_by("animal", "position")


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


class Families:
    """Animals with their parents, where these are proved, and what counts of what was stated of
    all of them; read for all at once."""

    def __init__(self, animals: Mapping[UUID, Animal]) -> None:
        self._parents = proved_among(animals.values())
        young = self._parents.keys()
        everyone = {*young, *(one for pair in self._parents.values() for one in pair)}
        self._stated = statements_of(everyone) if everyone else {}
        self._keepers = _keepers(_rooms(everyone, bought=young))
        standings = latest_standings(young) if young else {}
        self._male = {animal: float(one.p_male) for animal, one in standings.items()}
        self._known: dict[Hashable, float | None] = {}

    def chance(self, animal: Animal, claim: Statement) -> float | None:
        """That it is true; None where its parents are not proved. Of sisters and brothers of whom
        the same is known it is worked out once."""
        parents = self._parents.get(animal.pk)
        locus = locus_named(animal.species, claim.locus)
        if parents is None or locus is None:
            return None
        male = self._male.get(animal.pk, 0.5) if locus.system else 0.5
        own = self._counted(animal.pk)
        of_it = tuple((one.locus, one.says, one.allele, one.basis) for one in own)
        key = (parents, locus.key, claim.says, claim.allele, male, of_it)
        if key not in self._known:
            sire, dam = (
                Kin(str(one), is_male, self._counted(one))
                for one, is_male in zip(parents, (1.0, 0.0), strict=True)
            )
            young = Kin(str(animal.pk), male, own)
            self._known[key] = chance_of_claim(claim, locus, young, sire, dam)
        return self._known[key]

    def _counted(self, animal: UUID) -> list[Statement]:
        """What was found of it by whoever kept it then or before: a stranger who may look at two
        parents makes no claim fall, and neither does who bought the animal and gains by it."""
        found, keepers = self._stated.get(animal, ()), self._keepers[animal]
        return [one for one in found if one.by in keepers]


def makers_for(animals: Set[UUID]) -> dict[UUID, set[UUID]]:
    """By animal, whose claims of it an offer can represent and proof can bring down: of who keeps
    or kept it, and their partners."""
    rooms = _rooms(animals)
    named = {room for found in rooms.values() for room in found}
    partners: dict[UUID, set[UUID]] = {}
    grants = Grant.objects.filter(role=Grant.Role.PARTNER, collection__in=named)
    for room, partner in grants.values_list("collection", "to") if named else ():
        partners.setdefault(room, set()).add(partner)
    keepers = _keepers(rooms)
    return {
        animal: keepers[animal].union(*(partners.get(room, ()) for room in found))
        for animal, found in rooms.items()
    }


def _keepers(rooms: Mapping[UUID, Set[UUID]]) -> dict[UUID, set[UUID]]:
    """By animal, who keeps these collections."""
    named = {room for found in rooms.values() for room in found}
    keeps = dict(Collection.objects.filter(pk__in=named).values_list("pk", "keeper"))
    return {animal: {keeps[room] for room in found} for animal, found in rooms.items()}


def _rooms(animals: Set[UUID], bought: Set[UUID] = frozenset()) -> dict[UUID, set[UUID]]:
    """By animal, the collections that it is or was in; of those ``bought``, but for their
    buyers'."""
    rooms: dict[UUID, set[UUID]] = {one: set() for one in animals}
    held = Animal.objects.filter(pk__in=animals).values_list("pk", "collection")
    moves = Custody.objects.filter(animal__in=animals)
    for animal, room in (*held, *moves.values_list("animal", "came_from")):
        rooms[animal].add(room)
    for animal, room in moves.filter(animal__in=bought, why="sold").values_list(
        "animal", "went_to"
    ):
        rooms[animal].discard(room)
    return rooms


_ANY: Final = """
SELECT EXISTS (
  SELECT FROM animals_animal a JOIN traits_traitstatement t ON t.animal_id = a.id
  WHERE (a.id = ANY(%(animals)s::uuid[]) OR a.sire = ANY(%(animals)s::uuid[])
    OR a.dam = ANY(%(animals)s::uuid[]))
  AND t.locus <> '' AND t.says <> 'may_carry'
  AND NOT EXISTS (SELECT FROM traits_traitwithdrawal w WHERE w.statement_id = t.id))
"""


def any_claims(touched: Iterable[UUID]) -> bool:
    """Whether there is a claim of these animals or of their young to look at: of hardly any. It is
    asked with every call, under the log's lock."""
    ((found,),) = asked(_ANY, {"animals": ids_literal(touched)})
    return bool(found)
