"""One line of a list at a time: from cells to a draft of an animal, or to what is wrong with it."""

import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta
from decimal import Decimal

from scalewitness.domain.identifiers import parse_tag
from scalewitness.domain.sexing.taxa import UnknownSpecies, taxon
from scalewitness.domain.tables.columns import Layout
from scalewitness.domain.tables.days import Either, Order, Partial, Serial, see_day
from scalewitness.domain.tables.drafts import ListedAnimal
from scalewitness.domain.tables.headings import FIELDS, field_headed
from scalewitness.domain.tables.questions import SKIP, Waits
from scalewitness.domain.tables.sheets import Cell, ListRow
from scalewitness.domain.tables.species_names import see_species
from scalewitness.domain.tables.words import (
    NOTHING,
    Marks,
    Sex,
    counts_one,
    is_span,
    marks_in,
    number_in,
    see_sex,
    see_transponder,
    split_count,
    weight_parts,
)

OLDEST = date(1950, 1, 1)
LONGEST = {"name": 80, "rack": 40, "description": 2000}
MOST_GRAMS = Decimal(999_999)
EMPTY = Cell()
_FAULT = re.compile(r"#(?:REF!|N/A|NAME\?|VALUE!|DIV/0!|NULL!|NUM!)|Err:\d+")
"""What a sheet shows where a formula has no answer."""


class Bad(Exception):
    """Something stands in a line that cannot be meant; the text says what."""


class LineReader:
    """Reads lines by one layout. ``asked``: the questions that came up, each with the lines it is
    about and an example; ``guesses``: what a word was taken for, to be agreed to."""

    def __init__(
        self, layout: Layout, rows: Sequence[ListRow], replies: Mapping[str, str], today: date
    ) -> None:
        self._replies, self._today = replies, today
        self._columns: dict[str, list[int]] = {}
        self._headings = {one.index: one.heading for one in layout.columns}
        for one in layout.columns:
            if one.field:
                self._columns.setdefault(one.field, []).append(one.index)
        self.asked: dict[str, tuple[set[int], str]] = {}
        self.guesses: dict[str, str] = {}
        self._row, self._above = 0, ""
        self._note_evidence(rows)

    # --- what the file shows as a whole -----------------------------------------------

    def _note_evidence(self, rows: Sequence[ListRow]) -> None:
        days = self._under(rows, "hatched", "weighed")
        seen = [(cell, see_day(cell, self._today)) for cell in days]
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
        weights = self._under(rows, "grams", "kilograms")
        parts = [weight_parts(cell) for cell in weights if cell.kind == "text"]
        marks = {marks_in(one[0]) for one in parts if one} - {None}
        self._marks: Marks | None = marks.pop() if len(marks) == 1 else None

    def _under(self, rows: Sequence[ListRow], *fields: str) -> list[Cell]:
        return [cell for row in rows for field in fields for cell in self._all(row, field)]

    def _all(self, row: ListRow, field: str) -> Iterator[Cell]:
        for index in self._columns.get(field, ()):
            if index < len(row.cells) and row.cells[index].text:
                yield row.cells[index]

    def cell(self, row: ListRow, field: str) -> Cell:
        return next(self._all(row, field), EMPTY)

    def has(self, field: str) -> bool:
        return field in self._columns

    def _reply(self, name: str, example: str) -> str:
        """Raises Waits where it is not answered, Bad where the answer leaves the line out."""
        rows, _ = self.asked.setdefault(name, (set(), example))
        rows.add(self._row)
        answer = self._replies.get(name, "")
        if not answer:
            raise Waits(name)
        if answer == SKIP[0]:
            raise Bad("It is left out, as you answered.")
        return answer

    # --- one line ---------------------------------------------------------------------

    def read(self, row: ListRow) -> tuple[ListedAnimal | None, list[str], list[str]]:
        """The animal, what is wrong with its line, and the questions it waits for."""
        self._row = row.number
        values: dict[str, object] = {}
        wrong: list[str] = []
        waits: list[str] = []
        for part in (self._no_fault, self._one_animal, self._codes, self._species_and_sex,
                     self._hatched, self._weight, self._written):  # fmt: skip
            try:
                values |= part(row)
            except Bad as fault:
                wrong.append(str(fault))
            except Waits as wait:
                waits.append(wait.name)
        if wrong or waits:
            return None, wrong, waits
        extra = str(values.pop("in_words", ""))
        text = "\n".join(filter(None, (extra, str(values.get("description", "")))))
        draft = ListedAnimal(**values | {"description": text})  # type: ignore[arg-type]
        if not draft.title:
            return None, ["It has neither a tag nor a transponder nor a name."], []
        return draft, [], []

    def _no_fault(self, row: ListRow) -> dict[str, object]:
        for field in self._columns:
            for cell in self._all(row, field):
                if _FAULT.fullmatch(cell.text):
                    raise Bad(f"A formula of the sheet has no answer ({cell.text}).")
        return {}

    def _one_animal(self, row: ListRow) -> dict[str, object]:
        for cell in self._all(row, "count"):
            if not counts_one(cell):
                raise Bad(f"“{cell.text[:40]}” is a count of several animals: give each a line.")
        return {}

    def _codes(self, row: ListRow) -> dict[str, object]:
        found: dict[str, object] = {"tag": self._tag(self.cell(row, "tag")), "transponder": ""}
        chip = self.cell(row, "transponder")
        if chip.text.lower() in NOTHING:
            return found
        seen = see_transponder(chip)
        if seen.code:
            return found | {"transponder": seen.code}
        if seen.padded and self._reply("zeros", f"{chip.text} for {seen.padded}") == "yes":
            return found | {"transponder": seen.padded}
        raise Bad(seen.why)

    def _tag(self, cell: Cell) -> str:
        if cell.text in ("", "-", "–", "?"):
            return ""
        if cell.kind == "day":
            raise Bad(f"The sheet made a day of its tag ({cell.text}): type it as text.")
        if is_span(cell.text):
            raise Bad(f"“{cell.text[:40]}” names several animals: give each a line.")
        if "@" in cell.text:
            raise Bad("A tag names an animal, never a person.")
        try:
            return parse_tag(cell.text)
        except ValueError as fault:
            raise Bad(f"Its tag: {fault}.") from None

    def _species_and_sex(self, row: ListRow) -> dict[str, object]:
        counted, species = split_count(self.cell(row, "species").text)
        also, name = split_count(self.cell(row, "name").text)
        for sex in (counted, also):
            if sex in ("several", "ask"):
                raise Bad("It is a count of several animals: give each a line.")
        sex, sure = self._sex(self.cell(row, "sex"))
        if {"male", "female"} <= {sex, counted, also}:
            raise Bad("One of its cells says male and another female.")
        stated: Sex | None = sex or counted or also
        return {
            "species": self._species(species),
            "name": self._short("name", name),
            "sex": stated if stated in ("male", "female") else None,
            "sure": sure,
        } | self._source(stated)

    def _source(self, sex: str | None) -> dict[str, object]:
        """Asked once for all: whose word it is."""
        if sex in ("male", "female") and self._reply("sex_from", "") == "out":
            return {"sex": None}
        return {}

    def _sex(self, cell: Cell) -> tuple[Sex | None, bool]:
        seen = see_sex(cell)
        if seen.sex == "several":
            made = " A sheet makes a day of 1.2.3." if cell.kind == "day" else ""
            raise Bad(f"“{cell.text}” is a count of several animals: give each a line.{made}")
        if seen.sex == "ask":
            answer = self._reply(f"sex={cell.text[:40]}", cell.text)
            return ("male" if answer == "male" else "female" if answer == "female" else None), True
        return (None if seen.sex == "unknown" else seen.sex), seen.sure

    def _species(self, text: str) -> str:
        if text.lower() in NOTHING:
            return self._kind(self._reply("species", ""))
        seen = see_species(text)
        if seen.sure:
            self._above = seen.key
            return seen.key
        name = f"species={' '.join(text.split())[:60]}"
        if seen.key:
            self.guesses[name] = seen.key
        return self._kind(self._reply(name, text))

    def _kind(self, key: str) -> str:
        try:
            self._above = taxon(self._above if key == "above" else key).key
            return self._above
        except UnknownSpecies:
            raise Bad("Choose a species of the list.") from None

    # --- days and weights ---------------------------------------------------------------

    def _hatched(self, row: ListRow) -> dict[str, object]:
        cell = self.cell(row, "hatched")
        if cell.text.lower() in NOTHING:
            return {}
        seen = see_day(cell, self._today)
        if isinstance(seen, Partial):
            self._reply("partial", seen.text)
            return {"in_words": f"{FIELDS['hatched']}: {seen.text}"}
        day = self._day(cell, "hatched")
        if not OLDEST <= day <= self._today + timedelta(days=1):
            raise Bad(f"{day} is no day on which it can have hatched.")
        return {"hatched": day.isoformat()}

    def _day(self, cell: Cell, field: str) -> date:
        seen = see_day(cell, self._today)
        if isinstance(seen, Serial):
            self._reply("serials", f"{cell.text} for {seen.day}")
            return seen.day
        if isinstance(seen, Either):
            order = seen.decided or self._order or self._which_order(seen, cell)
            seen = seen.day(order)
        elif isinstance(seen, date) and cell.kind == "day":
            seen = self._set_right(seen)
        if not isinstance(seen, date):
            raise Bad(
                f"“{cell.text[:40]}” under “{self._heading(field)}” is no day that can be read."
            )
        return seen

    def _set_right(self, made: date) -> date:
        """A day that the sheet made, perhaps of a month and a day the wrong way round."""
        if not self._left_as_text or made.day == made.month:
            return made
        swapped = self._reply("swapped", self._left_as_text) == "yes"
        return made.replace(month=made.day, day=made.month) if swapped else made

    def _which_order(self, seen: Either, cell: Cell) -> Order:
        if seen.first == seen.second:
            return "day_first"
        return "month_first" if self._reply("order", cell.text) == "month_first" else "day_first"

    def _heading(self, field: str) -> str:
        index = self._columns[field][0]
        return self._headings.get(index) or FIELDS[field]

    def _weight(self, row: ListRow) -> dict[str, object]:
        grams = self._grams(row)
        if not grams:
            return {}
        cell = self.cell(row, "weighed")
        if cell.text.lower() in NOTHING:
            given = self._reply("weighed", "")
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
        for field, factor in (("grams", 1), ("kilograms", 1000)):
            cell = self.cell(row, field)
            if cell.text.lower() in NOTHING:
                continue
            amount = self._number(cell)
            kilos = factor == 1000 or (weight_parts(cell) or ("", ""))[1] == "kg"
            grams = (amount * (1000 if kilos else 1)).quantize(Decimal("0.1"))
            if not 0 < grams <= MOST_GRAMS:
                raise Bad(f"“{cell.text[:40]}” is no weight of a snake.")
            return f"{grams.normalize():f}"
        return ""

    def _number(self, cell: Cell) -> Decimal:
        parts = weight_parts(cell)
        if parts is None:
            raise Bad(f"“{cell.text[:40]}” is no weight that can be read.")
        figures = parts[0]
        marks = "point" if cell.kind == "number" else marks_in(figures) or self._marks
        if marks is None and ("," in figures or "." in figures):
            used: Marks = "comma" if "," in figures else "point"
            spared: Marks = "point" if used == "comma" else "comma"
            marks = used if self._reply("marks", figures) == "decimal" else spared
        try:
            return number_in(figures, marks or "point")
        except ArithmeticError:
            raise Bad(f"“{cell.text[:40]}” is no weight that can be read.") from None

    # --- what its keeper wrote ------------------------------------------------------------

    def _written(self, row: ListRow) -> dict[str, object]:
        traits = [
            " ".join(one.split())
            for cell in self._all(row, "traits")
            for one in cell.text.replace(";", ",").replace("/", ",").split(",")
        ]
        kept = tuple(dict.fromkeys(one for one in traits if one.lower() not in NOTHING))
        for one in kept:
            if len(one) > 60 or "@" in one or not one.isprintable():
                raise Bad(f"“{one[:40]}” is too long for a trait, or none.")
        return {
            "traits": kept,
            "rack": self._short("rack", self.cell(row, "rack").text),
            "description": self._described(row),
            "collection": self.cell(row, "collection").text,
        }

    def _short(self, field: str, text: str) -> str:
        text = " ".join(text.split())
        if len(text) > LONGEST[field] or not text.isprintable():
            raise Bad(f"Its {field} is longer than {LONGEST[field]} characters.")
        return text

    def _described(self, row: ListRow) -> str:
        parts = []
        for index in self._columns.get("description", ()):
            text = row.cells[index].text if index < len(row.cells) else ""
            heading = self._headings.get(index, "")
            led = not heading or field_headed(heading) == "description"
            if text.lower() not in NOTHING:
                parts.append(text if led else f"{heading}: {text}")
        text = "\n".join(parts).replace("\x00", "")
        if len(text) > LONGEST["description"]:
            raise Bad(f"Its description is longer than {LONGEST['description']} characters.")
        return text
