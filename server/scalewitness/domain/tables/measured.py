"""Days and weights of one line of a list."""

from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal

from scalewitness.domain.tables.asking import Bad, ListCells
from scalewitness.domain.tables.days import Either, Order, Partial, Serial, see_day
from scalewitness.domain.tables.headings import FIELDS, WEIGHTS
from scalewitness.domain.tables.sheets import Cell, ListRow
from scalewitness.domain.tables.weights import (
    Marks,
    in_grams,
    is_shown_rounded,
    marks_in,
    number_in,
    pounds_and_ounces,
    unit_shown,
    weight_parts,
)
from scalewitness.domain.tables.words import NOTHING

OLDEST = date(1950, 1, 1)
MOST_GRAMS = Decimal(999_999)


class MeasureReader:
    """Reads them by what all ``rows`` of the list show together."""

    def __init__(self, cells: ListCells, rows: Sequence[ListRow], today: date) -> None:
        self._cells, self._today = cells, today
        days = cells.under(rows, "hatched", "weighed")
        seen = [(cell, see_day(cell, today)) for cell in days]
        orders = {
            one.decided for cell, one in seen if cell.kind == "text" and isinstance(one, Either)
        }
        self._order: Order | None = None
        if orders - {None} in ({"day_first"}, {"month_first"}):
            self._order = next(one for one in orders if one)
        typed = [cell.text for cell, one in seen if isinstance(one, Either) and one.decided]
        made = [one for cell, one in seen if cell.kind == "day" and isinstance(one, date)]
        self._left_as_text = (
            typed[0] if typed and made and all(one.day <= 12 for one in made) else ""
        )
        weights = cells.under(rows, *WEIGHTS)
        parts = [weight_parts(cell) for cell in weights if cell.kind == "text"]
        marks = {marks_in(one[0]) for one in parts if one} - {None}
        self._marks: Marks | None = marks.pop() if len(marks) == 1 else None

    # --- days ---

    def hatched(self, row: ListRow) -> dict[str, object]:
        cell = self._cells.cell(row, "hatched")
        if cell.text.lower() in NOTHING:
            return {}
        seen = see_day(cell, self._today)
        if isinstance(seen, Partial):
            self._cells.reply("partial", seen.text)
            return {"in_words": f"{FIELDS['hatched']}: {seen.text}"}
        day = self._day(cell, "hatched")
        if not OLDEST <= day <= self._today + timedelta(days=1):
            raise Bad(f"{day} is no day on which it can have hatched.")
        return {"hatched": day.isoformat()}

    def _day(self, cell: Cell, field: str) -> date:
        seen = see_day(cell, self._today)
        if isinstance(seen, Serial):
            self._cells.reply("serials", f"{cell.text} for {seen.day}")
            return seen.day
        if isinstance(seen, Either):
            order = seen.decided or self._order or self._which_order(seen, cell)
            seen = seen.day(order)
        elif isinstance(seen, date) and cell.kind == "day":
            seen = self._set_right(seen)
        if not isinstance(seen, date):
            under = self._cells.heading(field)
            raise Bad(f"“{cell.text[:40]}” under “{under}” is no day that can be read.")
        return seen

    def _set_right(self, made: date) -> date:
        """A day that the sheet made, perhaps of a month and a day the wrong way round."""
        if not self._left_as_text or made.day == made.month:
            return made
        swapped = self._cells.reply("swapped", self._left_as_text) == "yes"
        return made.replace(month=made.day, day=made.month) if swapped else made

    def _which_order(self, seen: Either, cell: Cell) -> Order:
        if seen.first == seen.second:
            return "day_first"
        return (
            "month_first" if self._cells.reply("order", cell.text) == "month_first" else "day_first"
        )

    # --- weights ---

    def weight(self, row: ListRow) -> dict[str, object]:
        grams = self._grams(row)
        if not grams:
            return {}
        cell = self._cells.cell(row, "weighed")
        if cell.text.lower() in NOTHING:
            given = self._cells.reply("weighed", "")
            return {} if given == "out" else {"grams": grams, "weighed": self._given(given)}
        day = self._day(cell, "weighed")
        if not OLDEST <= day <= self._today:
            raise Bad(f"{day} is no day on which it can have been weighed.")
        return {"grams": grams, "weighed": day.isoformat()}

    def _given(self, text: str) -> str:
        try:
            day = date.fromisoformat(text)
        except ValueError:
            raise Bad("Say on which day it was weighed.") from None
        if not OLDEST <= day <= self._today:
            raise Bad(f"{day} is no day on which it can have been weighed.")
        return day.isoformat()

    def _grams(self, row: ListRow) -> str:
        for field, unit in WEIGHTS.items():
            cell = self._cells.cell(row, field)
            if cell.text.lower() in NOTHING:
                continue
            grams = self._in_grams(self._as_meant(cell), unit)
            if grams is None:
                return ""
            if not 0 < grams <= MOST_GRAMS:
                raise Bad(f"“{cell.text[:40]}” is no weight of a snake.")
            return f"{grams.normalize():f}"
        return ""

    def _as_meant(self, cell: Cell) -> Cell:
        """A number that the sheet shows as another: as a hundredth, a thousandth."""
        if cell.kind != "number" or not cell.shown or is_shown_rounded(cell):
            return cell
        example = f"{cell.shown} for {cell.text}"
        return Cell(cell.shown) if self._cells.reply("shown", example) == "shown" else cell

    def _in_grams(self, cell: Cell, headed: str) -> Decimal | None:
        """None where its keeper leaves out weights without a unit."""
        try:
            both = pounds_and_ounces(cell.text)
            if both is not None:
                return in_grams(both, "g")
            parts = weight_parts(cell)
            amount = self._number(cell)
            unit = (parts[1] if parts else "") or unit_shown(cell) or headed
            unit = unit or self._cells.reply("unit", cell.text)
            return None if unit == "out" else in_grams(amount, unit)
        except ArithmeticError:
            raise Bad(f"“{cell.text[:40]}” is no weight that can be read.") from None

    def _number(self, cell: Cell) -> Decimal:
        """Raises ArithmeticError where the figures are no number."""
        parts = weight_parts(cell)
        if parts is None:
            raise Bad(f"“{cell.text[:40]}” is no weight that can be read.")
        figures = parts[0]
        marks = "point" if cell.kind != "text" else marks_in(figures) or self._marks
        if marks is None and ("," in figures or "." in figures):
            used: Marks = "comma" if "," in figures else "point"
            spared: Marks = "point" if used == "comma" else "comma"
            marks = used if self._cells.reply("marks", figures) == "decimal" else spared
        return number_in(figures, marks or "point")
