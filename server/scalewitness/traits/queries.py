"""Reading statements of traits. Who may read of which animal is the caller's to ask."""

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from scalewitness.domain.genetics.stated import Statement
from scalewitness.ledger.queries.entries import texts_by_fact
from scalewitness.traits.models import TraitStatement

IN_FORCE: dict[str, Any] = {"withdrawal": None}


def statement_of(statement: UUID) -> TraitStatement | None:
    """With what withdrew it."""
    return TraitStatement.objects.select_related("withdrawal").filter(pk=statement).first()


def statements_of(animals: Iterable[UUID]) -> dict[UUID, list[Statement]]:
    """By animal, all that was stated of it and not withdrawn, in log order; animals of which
    nothing is are absent. For animals that the reader sees whole."""
    rows = _rows().filter(animal__in=list(animals), **IN_FORCE).order_by("position")
    found: dict[UUID, list[Statement]] = {}
    for one in as_statements(rows):
        found.setdefault(one.animal, []).append(one)
    return found


def stated_of(animal: UUID) -> QuerySet[TraitStatement]:
    """All that was stated of it, withdrawn or not, the newest first."""
    return _rows().filter(animal=animal).order_by("-position")


def latest_of(animal: UUID, most: int) -> list[Statement]:
    """The newest statements of it that were not withdrawn, at most so many."""
    return as_statements(stated_of(animal).filter(**IN_FORCE)[:most])


def in_force_by(keeper: UUID, animal: UUID) -> QuerySet[TraitStatement]:
    """What the keeper stated of the animal and did not take back."""
    return TraitStatement.objects.filter(animal=animal, by=keeper, **IN_FORCE)


def as_statements(rows: Iterable[TraitStatement]) -> list[Statement]:
    """With their words as far as those are kept."""
    listed = list(rows)
    texts = texts_by_fact(one.pk for one in listed)
    return [_statement(one, texts.get(one.pk, {})) for one in listed]


def _rows() -> QuerySet[TraitStatement, TraitStatement]:
    return TraitStatement.objects.select_related("withdrawal")


def _statement(row: TraitStatement, texts: dict[str, str]) -> Statement:
    return Statement(
        id=row.pk,
        position=row.position,
        animal=row.animal_id,
        by=row.by,
        at=row.at,
        says=row.says,  # type: ignore[arg-type]
        basis=row.basis,  # type: ignore[arg-type]
        locus=row.locus or None,
        allele=row.allele or None,
        chance=float(row.chance) if row.chance else None,
        words=texts.get("words", ""),
        laboratory=texts.get("laboratory", ""),
        sample=texts.get("sample", ""),
        note=texts.get("note", ""),
        withdrawn=row.withdrawal.at if hasattr(row, "withdrawal") else None,
    )
