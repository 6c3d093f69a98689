"""What a sheet hides of its lines and columns, and what becomes of it."""

from collections.abc import Sequence
from typing import Final

from msgspec import Struct
from msgspec.structs import replace

from scalewitness.domain.tables.columns import Column
from scalewitness.domain.tables.sheets import ListRow

LEFT_OUT: Final = "The sheet hides it; left out, as you answered."


class HiddenParts(Struct, frozen=True):
    """``lines``, by number, of which something is hidden that would be read; ``in_words``: it."""

    lines: frozenset[int]
    in_words: str


def hidden_parts(columns: Sequence[Column], rows: Sequence[ListRow]) -> HiddenParts:
    """Of what is to be read; a column that its keeper chose by hand is not hidden from them."""
    hidden = [one for one in columns if _is_hidden(one) and one.field]
    lines = {row.number for row in rows if row.hidden}
    parts = [f"{len(lines)} line{'' if len(lines) == 1 else 's'}"] if lines else []
    if hidden:
        names = ", ".join(f"“{one.title}”" for one in hidden)
        parts.append(f"the column{'' if len(hidden) == 1 else 's'} {names}")
    indices = {one.index for one in hidden}
    lines |= {row.number for row in rows if indices & _filled(row)}
    return HiddenParts(frozenset(lines), " and ".join(parts))


def without_hidden(columns: Sequence[Column]) -> tuple[Column, ...]:
    """Hidden columns left out."""
    return tuple(replace(one, field="") if _is_hidden(one) else one for one in columns)


def _is_hidden(column: Column) -> bool:
    return column.hidden and not column.by_hand


def _filled(row: ListRow) -> set[int]:
    return {index for index, cell in enumerate(row.cells) if cell.text}
