"""One line of a list at a time: from cells to a draft of an animal, or to what is wrong with it."""

import re
from collections.abc import Sequence
from datetime import date
from typing import NamedTuple, get_args

from scalewitness.domain.identifiers import parse_tag
from scalewitness.domain.parents import Role
from scalewitness.domain.sexing.taxa import UnknownSpecies, taxon
from scalewitness.domain.tables.asking import EMPTY, Bad, ListCells
from scalewitness.domain.tables.drafts import ListedAnimal, ListedParent
from scalewitness.domain.tables.headings import field_headed
from scalewitness.domain.tables.hiding import HiddenParts
from scalewitness.domain.tables.measured import MeasureReader
from scalewitness.domain.tables.parentage import mark_of, parent_named
from scalewitness.domain.tables.questions import Waits
from scalewitness.domain.tables.sheets import Cell, ListRow
from scalewitness.domain.tables.species_names import see_species
from scalewitness.domain.tables.words import (
    NOTHING,
    Sex,
    counts_one,
    is_span,
    made_a_day,
    see_sex,
    see_transponder,
    split_count,
)

LONGEST = {"name": 80, "rack": 40, "description": 2000}
_FAULT = re.compile(r"#(?:REF!|N/A|NAME\?|VALUE!|DIV/0!|NULL!|NUM!)|Err:\d+")
"""What a sheet shows where a formula has no answer."""


class ReadLine(NamedTuple):
    """Of one line: the animal, or what is ``wrong`` and the questions that it waits for; and what
    its keeper is ``remarks`` of how it was read."""

    draft: ListedAnimal | None
    wrong: tuple[str, ...] = ()
    waits: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()


class LineReader:
    """Reads lines by the columns of one layout. ``hidden``: what the sheet hides of them."""

    def __init__(
        self, cells: ListCells, rows: Sequence[ListRow], hidden: HiddenParts, today: date
    ) -> None:
        self.cells, self._hidden = cells, hidden
        self._measures = MeasureReader(cells, rows, today)
        self._above = ""

    # --- one line ---------------------------------------------------------------------

    def read(self, row: ListRow) -> ReadLine:
        self.cells.begin(row)
        values: dict[str, object] = {}
        wrong: list[str] = []
        waits: list[str] = []
        for part in (self._no_fault, self._seen, self._one_animal, self._codes,
                     self._species_and_sex, self._measures.hatched, self._measures.weight,
                     self._parents, self._written):  # fmt: skip
            try:
                values |= part(row)
            except Bad as fault:
                wrong.append(str(fault))
            except Waits as wait:
                waits.append(wait.name)
        if wrong or waits:
            return ReadLine(None, tuple(wrong), tuple(waits))
        extra = str(values.pop("in_words", ""))
        text = "\n".join(filter(None, (extra, str(values.get("description", "")))))
        draft = ListedAnimal(**values | {"description": text})  # type: ignore[arg-type]
        if not draft.title:
            return ReadLine(None, ("It has neither a tag nor a transponder nor a name.",))
        return ReadLine(draft, remarks=tuple(self.cells.remarks))

    def marks(self, row: ListRow) -> set[str]:
        """What a line's animal goes by, also where the line cannot be read otherwise."""
        _, name = split_count(self.cells.cell(row, "name").text)
        chip = see_transponder(self.cells.cell(row, "transponder")).code
        tag = self.cells.cell(row, "tag")
        return {mark_of(one) for one in (tag.text, tag.shown, name, chip) if one}

    def parents(self, row: ListRow) -> dict[Role, str]:
        """Sire and dam as a line names them, also where it cannot be read otherwise."""
        found: dict[Role, str] = {}
        for role in get_args(Role):
            cell = self.cells.cell(row, role)
            if cell.text.lower() not in NOTHING:
                found[role] = parent_named(cell.text)
        return found

    def _seen(self, row: ListRow) -> dict[str, object]:
        """Whether what the sheet hides of it is to be read is asked once."""
        if row.number in self._hidden.lines:
            self.cells.reply("hidden", self._hidden.in_words)
        return {}

    def _no_fault(self, row: ListRow) -> dict[str, object]:
        for field in self.cells.columns:
            for cell in self.cells.all(row, field):
                if _FAULT.fullmatch(cell.text):
                    raise Bad(f"A formula of the sheet has no answer ({cell.text}).")
        return {}

    def _one_animal(self, row: ListRow) -> dict[str, object]:
        for cell in self.cells.all(row, "count"):
            if not counts_one(cell):
                raise Bad(f"“{cell.text[:40]}” is a count of several animals: give each a line.")
        return {}

    def _codes(self, row: ListRow) -> dict[str, object]:
        found: dict[str, object] = {
            "tag": self._tag(self.cells.cell(row, "tag")),
            "transponder": "",
        }
        chip = self.cells.cell(row, "transponder")
        if chip.text.lower() in NOTHING:
            return found
        seen = see_transponder(self.cells.as_meant(chip))
        if seen.code:
            return found | {"transponder": seen.code}
        if seen.padded and self.cells.reply("zeros", f"{chip.text} for {seen.padded}") == "yes":
            return found | {"transponder": seen.padded}
        raise Bad(seen.why)

    def _tag(self, cell: Cell) -> str:
        if cell.text in ("", "-", "–", "?"):
            return ""
        if cell.kind in ("day", "dated"):
            made = cell.shown or cell.text
            raise Bad(f"The sheet made a day of its tag ({made}): type it as text.")
        cell = self.cells.as_meant(cell)
        if is_span(cell.text):
            raise Bad(f"“{cell.text[:40]}” names several animals: give each a line.")
        if "@" in cell.text:
            raise Bad("A tag names an animal, never a person.")
        try:
            return parse_tag(cell.text)
        except ValueError as fault:
            raise Bad(f"Its tag: {fault}.") from None

    def _species_and_sex(self, row: ListRow) -> dict[str, object]:
        counted, species = split_count(self.cells.cell(row, "species").text)
        also, name = split_count(self.cells.as_meant(self.cells.cell(row, "name")).text)
        for sex in (counted, also):
            if sex in ("several", "ask"):
                raise Bad("It is a count of several animals: give each a line.")
        sex, sure = self._sex(self.cells.cell(row, "sex"))
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
        if sex in ("male", "female") and self.cells.reply("sex_from", "") == "out":
            return {"sex": None}
        return {}

    def _sex(self, cell: Cell) -> tuple[Sex | None, bool]:
        shown = cell.shown or cell.text
        if counted := made_a_day(cell):
            if self.cells.reply("dated", f"{shown} typed as {counted}") == "unknown":
                return None, True
            cell = Cell(counted)
        seen = see_sex(cell)
        if seen.sex == "several":
            was = f"“{shown}” was likely {counted}," if counted else f"“{shown}” is"
            raise Bad(f"{was} a count of several animals: give each a line.")
        if seen.sex == "ask":
            answer = self.cells.reply(f"sex={shown[:40]}", shown)
            return ("male" if answer == "male" else "female" if answer == "female" else None), True
        return (None if seen.sex == "unknown" else seen.sex), seen.sure

    def _species(self, text: str) -> str:
        if text.lower() in NOTHING:
            return self._kind(self.cells.reply("species", ""))
        seen = see_species(text)
        if seen.sure:
            self._above = seen.key
            return seen.key
        name = f"species={' '.join(text.split())[:60]}"
        if seen.key:
            self.cells.guesses[name] = seen.key
        return self._kind(self.cells.reply(name, text))

    def _kind(self, key: str) -> str:
        try:
            self._above = taxon(self._above if key == "above" else key).key
            return self._above
        except UnknownSpecies:
            raise Bad("Choose a species of the list.") from None

    def _parents(self, row: ListRow) -> dict[str, object]:
        """As the list names them; which animals those are, is found once all lines are read."""
        found: dict[str, object] = {}
        for role in ("sire", "dam"):
            text = self.cells.as_meant(self.cells.cell(row, role)).text
            if text.lower() not in NOTHING:
                found[role] = ListedParent(parent_named(text))
        return found

    # --- what its keeper wrote ------------------------------------------------------------

    def _written(self, row: ListRow) -> dict[str, object]:
        traits = [
            " ".join(one.split())
            for cell in self.cells.all(row, "traits")
            for one in self.cells.as_meant(cell).text.replace(";", ",").replace("/", ",").split(",")
        ]
        kept = tuple(dict.fromkeys(one for one in traits if one.lower() not in NOTHING))
        for one in kept:
            if len(one) > 60 or "@" in one or not one.isprintable():
                raise Bad(f"“{one[:40]}” is too long for a trait, or none.")
        return {
            "traits": kept,
            "rack": self._short("rack", self.cells.as_meant(self.cells.cell(row, "rack")).text),
            "description": self._described(row),
            "collection": self.cells.cell(row, "collection").text,
        }

    def _short(self, field: str, text: str) -> str:
        text = " ".join(text.split())
        if len(text) > LONGEST[field] or not text.isprintable():
            raise Bad(f"Its {field} is longer than {LONGEST[field]} characters.")
        return text

    def _described(self, row: ListRow) -> str:
        parts = []
        for index in self.cells.columns.get("description", ()):
            cell = row.cells[index] if index < len(row.cells) else EMPTY
            text = self.cells.as_meant(cell).text
            heading = self.cells.headings.get(index, "")
            led = not heading or field_headed(heading) == "description"
            if text.lower() not in NOTHING:
                parts.append(text if led else f"{heading}: {text}")
        text = "\n".join(parts).replace("\x00", "")
        if len(text) > LONGEST["description"]:
            raise Bad(f"Its description is longer than {LONGEST['description']} characters.")
        return text
