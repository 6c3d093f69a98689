"""Reading statements of traits. Who may read of which animal is the caller's to ask."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, TypeAlias, TypedDict
from uuid import UUID

from django.db.models import OuterRef, QuerySet, Subquery

from scalewitness.domain.genetics.stated import Statement
from scalewitness.ledger.queries.entries import note_beside
from scalewitness.traits.models import ClaimChange, TraitStatement

IN_FORCE: dict[str, Any] = {"withdrawal": None}


class WithTexts(TypedDict):
    words: str | None
    laboratory: str | None
    sample: str | None
    note: str | None
    fell: bool | None


if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations

    Worded: TypeAlias = WithAnnotations[TraitStatement, WithTexts]
    """With its texts, as far as they are kept, and whether it fell."""
else:
    Worded = TraitStatement


def statement_of(statement: UUID) -> Worded | None:
    """With what withdrew it."""
    return statement_rows().filter(pk=statement).first()


def claims_named(statements: Iterable[UUID]) -> dict[UUID, Worded]:
    """By id, withdrawn or not, with the animals that they are about."""
    return statement_rows().select_related("animal").in_bulk(list(statements))


def statements_of(animals: Iterable[UUID]) -> dict[UUID, list[Statement]]:
    """By animal, all that was stated of it and not withdrawn, in log order; animals of which
    nothing is are absent. For animals that the reader sees whole."""
    rows = statement_rows().filter(animal__in=list(animals), **IN_FORCE).order_by("position")
    found: dict[UUID, list[Statement]] = {}
    for one in as_statements(rows):
        found.setdefault(one.animal, []).append(one)
    return found


def stated_of(animal: UUID) -> QuerySet[Worded]:
    """All that was stated of it, withdrawn or not, the newest first."""
    return statement_rows().filter(animal=animal).order_by("-position")


def latest_of(animal: UUID, most: int) -> list[Statement]:
    """The newest statements of it that were not withdrawn, at most so many."""
    return as_statements(stated_of(animal).filter(**IN_FORCE)[:most])


def in_force_by(keeper: UUID, animal: UUID) -> QuerySet[TraitStatement]:
    """What the keeper stated of the animal and did not take back."""
    return TraitStatement.objects.filter(animal=animal, by=keeper, **IN_FORCE)


def as_statements(rows: Iterable[Worded]) -> list[Statement]:
    """Rows of :func:`statement_rows`, with their words as far as those are kept."""
    return [_statement(one) for one in rows]


def statement_rows() -> QuerySet[Worded]:
    """With what withdrew them, whether they fell, and their texts."""
    changes = ClaimChange.objects.filter(statement=OuterRef("pk")).order_by("-position")
    rows = TraitStatement.objects.select_related("withdrawal")
    return rows.annotate(
        words=note_beside("pk", field="words"),
        laboratory=note_beside("pk", field="laboratory"),
        sample=note_beside("pk", field="sample"),
        note=note_beside("pk"),
        fell=Subquery(changes.values("fell")[:1]),
    )


def _statement(row: Worded) -> Statement:
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
        words=row.words or "",
        laboratory=row.laboratory or "",
        sample=row.sample or "",
        note=row.note or "",
        withdrawn=row.withdrawal.at if hasattr(row, "withdrawal") else None,
        fell=bool(row.fell),
    )
