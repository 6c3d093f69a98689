"""A row that an entry must have left."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db.models import Model

from scalewitness.fsck.reading import LoggedFact


@dataclass(frozen=True, slots=True)
class Row:
    """A row that must be there, by column; columns left out are not the fact's to say."""

    model: type[Model]
    values: Mapping[str, Any]


Rows = Iterator[Row]


def id_of(text: str | None) -> UUID | None:
    return UUID(text) if text else None


def row_of_fact(fact: LoggedFact, **more: Any) -> dict[str, Any]:
    """Of a row that is the fact itself: its id and position."""
    return {"id": fact.id, "position": fact.position, **more}


def row_of_thing(fact: LoggedFact, **more: Any) -> dict[str, Any]:
    """Of a row that is the thing the fact brought about."""
    return {"id": fact.about, "position": fact.position, **more}
