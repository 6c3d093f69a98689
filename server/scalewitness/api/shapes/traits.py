"""Statements of traits as shown."""

from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

from msgspec import Struct

from scalewitness.api.shapes.people import Person, named
from scalewitness.domain.genetics.stated import Basis, Says, Statement
from scalewitness.people.queries import names_of


class TraitShown(Struct, frozen=True):
    """``locus``: a key of the species' sheet of traits; None where the trait is in ``words``.
    ``allele``: which of them, or which look, where there are several. ``chance``: as it was sold,
    of "may_carry". ``withdrawn_at``: when whoever stated it took it back; it counts for nothing.
    ``fell``: its proved parents speak against it."""

    id: UUID
    position: int
    by: Person
    stated_at: datetime
    says: Says
    basis: Basis
    locus: str | None
    allele: str | None
    chance: float | None
    words: str
    laboratory: str
    sample: str
    note: str
    withdrawn_at: datetime | None
    fell: bool


class Traits(Struct, frozen=True):
    """``next``: the cursor to the part after this one; None at the end."""

    items: list[TraitShown]
    next: str | None


def traits(found: Iterable[Statement], after: str | None) -> Traits:
    listed = list(found)
    names = names_of({one.by for one in listed})
    return Traits([_shown(one, names) for one in listed], after)


def _shown(one: Statement, names: dict[UUID, str]) -> TraitShown:
    return TraitShown(
        id=one.id,
        position=one.position,
        by=named(one.by, names),
        stated_at=one.at,
        says=one.says,
        basis=one.basis,
        locus=one.locus,
        allele=one.allele,
        chance=one.chance,
        words=one.words,
        laboratory=one.laboratory,
        sample=one.sample,
        note=one.note,
        withdrawn_at=one.withdrawn,
        fell=one.fell,
    )
