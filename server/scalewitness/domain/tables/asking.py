"""The cells of a list by what its columns hold, and what is to be asked about them."""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final

from scalewitness.domain.tables.columns import Column
from scalewitness.domain.tables.headings import FIELDS
from scalewitness.domain.tables.questions import SKIP, Options, Waits
from scalewitness.domain.tables.sheets import Cell, ListRow

EMPTY: Final = Cell()
_FIGURES = re.compile(r"[\d.,]+")
_POWER = re.compile(r"\d(?:\.\d+)?E[+-]\d+")


class Bad(Exception):
    """Something stands in a line that cannot be meant; the text says what."""


class ListCells:
    """``asked``: the questions that came up, each with the lines it is about and an example;
    ``guesses``: what a word was taken for, to be agreed to; ``options``: what else a question is
    answered by; ``remarks``: what the keeper may not expect of how the line was read."""

    def __init__(self, columns: Sequence[Column], replies: Mapping[str, str]) -> None:
        self._replies = replies
        self.columns: dict[str, list[int]] = {}
        self.headings = {one.index: one.heading for one in columns}
        for one in columns:
            if one.field:
                self.columns.setdefault(one.field, []).append(one.index)
        self.asked: dict[str, tuple[set[int], str]] = {}
        self.guesses: dict[str, str] = {}
        self.options: dict[str, Options] = {}
        self.remarks: list[str] = []
        self._row = 0

    def begin(self, row: ListRow) -> None:
        self._row, self.remarks = row.number, []

    def under(self, rows: Sequence[ListRow], *fields: str) -> list[Cell]:
        return [cell for row in rows for field in fields for cell in self.all(row, field)]

    def all(self, row: ListRow, field: str) -> Iterator[Cell]:
        for index in self.columns.get(field, ()):
            if index < len(row.cells) and row.cells[index].text:
                yield row.cells[index]

    def cell(self, row: ListRow, field: str) -> Cell:
        return next(self.all(row, field), EMPTY)

    def heading(self, field: str) -> str:
        index = self.columns[field][0]
        return self.headings.get(index) or FIELDS[field]

    def note(self, name: str, lines: Iterable[int], example: str) -> None:
        """A question that stands whatever its answer is."""
        if noted := set(lines):
            self.asked[name], self.options[name] = (noted, example), ()

    def answer(self, name: str) -> str:
        """What its keeper answered; empty where they did not."""
        return self._replies.get(name, "")

    def reply(self, name: str, example: str, options: Options = ()) -> str:
        """Raises Waits where it is not answered, Bad where the answer leaves the line out."""
        rows, _ = self.asked.setdefault(name, (set(), example))
        rows.add(self._row)
        known = self.options.get(name, ())
        self.options[name] = (*known, *(one for one in options if one not in known))
        answer = self._replies.get(name, "")
        if not answer:
            raise Waits(name)
        if answer == SKIP[0]:
            raise Bad("It is left out, as you answered.")
        return answer

    def as_meant(self, cell: Cell) -> Cell:
        """A code or a name that a sheet took for a number: as it is shown, where that only adds
        what stands around the figures; else asked.

        Raises:
            Waits, Bad: as :meth:`reply`.
        """
        if cell.kind != "number" or not cell.shown or _POWER.fullmatch(cell.shown):
            return cell
        figures = re.sub(r"[,.'\s]", "", cell.shown)
        if figures == cell.text:
            return cell
        if [one.lstrip("0") or "0" for one in _FIGURES.findall(cell.shown)] != [cell.text]:
            example = f"{cell.shown} for {cell.text}"
            return Cell(cell.shown) if self.reply("shown", example) == "shown" else cell
        self.remarks.append(f"The sheet shows {cell.shown} and holds {cell.text}.")
        return Cell(cell.shown)
