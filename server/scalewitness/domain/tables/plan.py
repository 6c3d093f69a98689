"""What would become of every line of a list, before any of it is stated."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date
from functools import cached_property

from msgspec import Struct
from msgspec.structs import replace

from scalewitness.domain.sexing.taxa import taxon
from scalewitness.domain.tables.asking import ListCells
from scalewitness.domain.tables.columns import Column, Layout, best_sheet, is_heading, lay_out
from scalewitness.domain.tables.drafts import ListedAnimal
from scalewitness.domain.tables.headings import FIELDS, REASON
from scalewitness.domain.tables.hiding import LEFT_OUT, hidden_parts, without_hidden
from scalewitness.domain.tables.lines import Beside, ByCode, KnownAnimal, ListLine, State
from scalewitness.domain.tables.parentage import ParentFinder
from scalewitness.domain.tables.questions import OpenQuestion, question
from scalewitness.domain.tables.reading import LineReader
from scalewitness.domain.tables.sheets import ListFile, ListRow, Worksheet

_TOTAL = re.compile(
    r"(?:grand |sub-?)?(?:total|totals|sum|summe|gesamt|insgesamt|count)\b.*", re.IGNORECASE
)


class Answers(Struct, frozen=True, omit_defaults=True):
    """What its keeper decided. ``sheet``: its index, -1 for the likeliest; ``columns``: fields by
    index, where they differ from the guess; ``replies``: to questions, by name."""

    sheet: int = -1
    columns: dict[int, str] = {}
    replies: dict[str, str] = {}


class ImportPlan(Struct, frozen=True, dict=True):
    """``head``: the number of the row of headings, 0 without any. ``columns`` as they are read;
    ``guessed`` as they would be without anybody's word."""

    sheet: int
    head: int
    columns: tuple[Column, ...]
    guessed: tuple[Column, ...]
    lines: tuple[ListLine, ...]
    questions: tuple[OpenQuestion, ...]

    @cached_property
    def counts(self) -> Counter[State]:
        return Counter(line.state for line in self.lines)

    def reply(self, name: str) -> str:
        """The answer to a question; empty where it is open, or did not come up."""
        return next((one.answer for one in self.questions if one.name == name), "")

    def of(self, state: str) -> list[ListLine]:
        return [line for line in self.lines if line.state == state]

    @property
    def open(self) -> list[OpenQuestion]:
        return [one for one in self.questions if not one.answer]


def plan_of(table: ListFile, answers: Answers, known: ByCode, today: date) -> ImportPlan:
    """Lay a file out line by line. Every row of the sheet is in exactly one line."""
    chosen = answers.sheet if 0 <= answers.sheet < len(table.sheets) else best_sheet(table.sheets)
    sheet = table.sheets[chosen]
    found = lay_out(sheet, today)
    layout = Layout(found.head, tuple(_as_answered(one, answers.columns) for one in found.columns))
    aside = [_aside(index, row, sheet, layout) for index, row in enumerate(sheet.rows)]
    hidden = hidden_parts(layout.columns, _kept(sheet, aside))
    guessed = found.columns
    if answers.replies.get("hidden") == "out":
        guessed = without_hidden(guessed)
        layout = Layout(found.head, without_hidden(layout.columns))
        aside = [why or (LEFT_OUT if row.hidden else None)
                 for row, why in zip(sheet.rows, aside, strict=True)]  # fmt: skip
    body = _kept(sheet, aside)
    cells = ListCells(layout.columns, answers.replies)
    cells.note("hidden", hidden.lines, hidden.in_words)
    reader = LineReader(cells, body, hidden, today)
    width = len(sheet.rows[layout.head].cells) if layout.head >= 0 else 0
    lines = [
        _line(row, reader, width) if why is None else ListLine(row.number, row, "aside", why)
        for row, why in zip(sheet.rows, aside, strict=True)
    ]
    lines = _against_record(_against_each_other(lines), known)
    marks = {row.number: reader.marks(row) for row in body}
    finder = ParentFinder(lines, marks, known, cells)
    finder.ask_ahead({row.number: reader.parents(row) for row in body})
    lines = finder.settled()
    head = sheet.rows[layout.head].number if layout.head >= 0 else 0
    return ImportPlan(
        chosen, head, layout.columns, guessed, tuple(lines), _questions(cells, answers)
    )


def _kept(sheet: Worksheet, aside: Sequence[str | None]) -> list[ListRow]:
    return [row for row, why in zip(sheet.rows, aside, strict=True) if why is None]


def _as_answered(column: Column, answers: Mapping[int, str]) -> Column:
    field = answers.get(column.index, column.field)
    if field == column.field or field not in {"", *FIELDS}:
        return column
    return replace(column, field=field, by_content=False, by_hand=True)


def _questions(cells: ListCells, answers: Answers) -> tuple[OpenQuestion, ...]:
    replies, guesses = answers.replies, cells.guesses
    made = [
        question(
            name, len(rows), example, replies.get(name, ""), guesses.get(name, ""),
            cells.options[name],
        )
        for name, (rows, example) in cells.asked.items()
    ]  # fmt: skip
    return tuple(sorted(made, key=lambda one: ("=" in one.name, -one.lines)))


# --- rows that are no animals -----------------------------------------------------------


def _aside(index: int, row: ListRow, sheet: Worksheet, layout: Layout) -> str | None:
    """Why a row is no animal's; None where it may be one."""
    if row.blank:
        return "Nothing stands in it."
    if row.why is not None:
        return None
    if index < layout.head:
        return "It stands above the headings."
    if index == layout.head:
        return "The headings."
    if layout.head >= 0 and is_heading(row, sheet.rows[layout.head]):
        return "The headings once more."
    return "A total, no animal." if _is_total(row, layout) else None


def _is_total(row: ListRow, layout: Layout) -> bool:
    given = [text for text in row.texts if text]
    held = {row.cells[one.index].text for one in layout.columns
            if one.field in ("transponder", "species") and one.index < len(row.cells)}  # fmt: skip
    return bool(_TOTAL.fullmatch(given[0])) and not held - {"", given[0]}


# --- lines ------------------------------------------------------------------------------


def _line(row: ListRow, reader: LineReader, width: int) -> ListLine:
    if row.why is not None:
        return ListLine(row.number, row, "cannot", row.why)
    if row.lines and width and _misfits(row, width):
        return ListLine(
            row.number, row, "cannot", f"It has {len(row.cells)} cells where the head has {width}."
        )
    found = reader.read(row)
    if found.draft is not None:
        return ListLine(row.number, row, "new", " ".join(found.remarks), found.draft)
    if found.wrong:
        return ListLine(row.number, row, "cannot", " ".join(found.wrong))
    return ListLine(row.number, row, "cannot", "It waits for your answer.", waits=found.waits)


def _misfits(row: ListRow, width: int) -> bool:
    return len(row.cells) < width or any(row.texts[width:])


def _marks_of(draft: ListedAnimal) -> list[tuple[str, str]]:
    """What tells the animal from others: its codes, or without any its name."""
    codes = [("transponder", draft.transponder), ("tag", draft.tag.casefold())]
    found = [one for one in codes if one[1]]
    return found or [("name", f"{draft.name.casefold()}\n{draft.species}")]


def _against_each_other(lines: Sequence[ListLine]) -> list[ListLine]:
    """Of lines about one animal the first is kept if all say the same, else none of them."""
    first: dict[tuple[str, str], ListLine] = {}
    same: dict[int, ListLine] = {}
    apart: dict[int, tuple[ListLine, str]] = {}
    for line in lines:
        if line.draft is None:
            continue
        for mark in _marks_of(line.draft):
            earlier = first.setdefault(mark, line)
            if earlier is line:
                continue
            if earlier.draft == line.draft:
                same[line.number] = earlier
            else:
                apart[line.number] = (earlier, mark[0])
                apart.setdefault(earlier.number, (line, mark[0]))
    return [_settled(line, same, apart) for line in lines]


def _settled(
    line: ListLine, same: Mapping[int, ListLine], apart: Mapping[int, tuple[ListLine, str]]
) -> ListLine:
    if line.number in apart and line.draft:
        other, scheme = apart[line.number]
        why = f"Line {other.number} has the same {scheme}, and says something else."
        return ListLine(
            line.number, line.row, "cannot", why, beside=_beside_line(line.draft, other)
        )
    if line.number in same:
        first = same[line.number].number
        why = f"Line {first} says the same."
        return ListLine(line.number, line.row, "here", why, same_line=first)
    return line


def _against_record(lines: Sequence[ListLine], known: ByCode) -> list[ListLine]:
    return [_compared(line, line.draft, known) if line.draft else line for line in lines]


def _compared(line: ListLine, draft: ListedAnimal, known: ByCode) -> ListLine:
    found = {
        one.id: one
        for mark in (("transponder", draft.transponder), ("tag", draft.tag.casefold()))
        if mark[1]
        for one in known.get(mark, ())
    }
    if not found:
        return line
    other = next(iter(found.values()))
    beside = _beside_known(draft, other)
    if len(found) > 1:
        why = "Its tag and its transponder are those of two animals of yours."
    elif _is_same(draft, other):
        differs = any(here != there for _, here, there in beside.rows)
        why = "On record already." + (" What differs stays as it is there." if differs else "")
        why += " So do its parents." if draft.parents else ""
        return ListLine(
            line.number, line.row, "here", why, beside=beside if differs else None,
            same_animal=other,
        )  # fmt: skip
    else:
        why = "Its tag is that of another animal of yours."
    return ListLine(line.number, line.row, "cannot", why, beside=beside)


def _is_same(draft: ListedAnimal, other: KnownAnimal) -> bool:
    """By its transponder; where one of the two bears none, by its tag, if the species agree."""
    if draft.transponder in other.borne("transponder"):
        return True
    both = bool(draft.transponder and other.borne("transponder"))
    return not both and draft.species == other.species


# --- side by side -----------------------------------------------------------------------


def _beside_known(draft: ListedAnimal, other: KnownAnimal) -> Beside:
    there = {
        "Tag": ", ".join(other.borne("tag")),
        "Transponder": ", ".join(other.borne("transponder")),
        "Species": taxon(other.species).common,
        "Hatched": other.hatched,
    }
    here = _in_words(draft)
    rows = tuple((name, here[name], text) for name, text in there.items() if here[name] or text)
    return Beside(rows, animal=other.id, title=other.title)


def _beside_line(draft: ListedAnimal, other: ListLine) -> Beside:
    here, there = _in_words(draft), _in_words(other.draft) if other.draft else {}
    rows = tuple((name, here[name], there[name]) for name in here if here[name] or there[name])
    return Beside(rows, line=other.number)


def _in_words(draft: ListedAnimal) -> dict[str, str]:
    return {
        "Tag": draft.tag,
        "Transponder": draft.transponder,
        "Species": taxon(draft.species).common,
        "Hatched": draft.hatched,
        "Name": draft.name,
        "Sex in the list": draft.sex or "",
        "Sire": draft.sire.named if draft.sire else "",
        "Dam": draft.dam.named if draft.dam else "",
        "Weight": f"{draft.grams} g" if draft.grams else "",
        "Rack": draft.rack,
    }


def refused_rows(
    plan: ImportPlan, table: ListFile, why: Mapping[int, str]
) -> tuple[list[str], list[list[str]]]:
    """The lines that are not stored, with their headings, to be put right and read again;
    ``why``, by number."""
    sheet = table.sheets[plan.sheet]
    width = max((len(row.cells) for row in sheet.rows), default=1)
    titles = {column.index: column.heading for column in plan.columns}
    head = [titles.get(index, "") for index in range(width)]
    rows = []
    for line in plan.lines:
        if line.number in why:
            as_it_stood = ["".join(line.row.lines).strip()]
            cells = list(line.row.texts) if line.row.why is None else as_it_stood
            blank = [""] * (width - len(cells))
            rows.append([*cells, *blank, f"Line {line.number}: {why[line.number]}"])
    return [*head, REASON], rows
