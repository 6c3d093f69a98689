"""Days as keepers write them. What can be read in two ways is never guessed."""

import re
from calendar import month_abbr
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final, Literal

from scalewitness.domain.tables.sheets import Cell

Order = Literal["day_first", "month_first"]

_NUMERIC = re.compile(r"(\d{1,4})\s*([./ -])\s*(\d{1,2})\s*\2\s*(\d{1,4})\.?")
_NAMED = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?[ .\-/]*([a-z]{3,9})[ .,\-/]*(\d{4}|\d{2})")
_NAMED_FIRST = re.compile(r"([a-z]{3,9})[ .\-/]*(\d{1,2})(?:st|nd|rd|th)?[ .,\-/]+(\d{4}|\d{2})")
_PARTIAL = re.compile(
    r"(?:c|ca|circa|about|approx)?[. ]*"
    r"(?:(?:(?:\d{1,2}|[a-z]{3,9})[ ./\-])?(?:19|20)\d{2}|(?:19|20)\d{2}[./-]\d{1,2})\??"
)
_SHORT = re.compile(r"\d{1,2}[. \-/]*([a-z]{3,9})\.?|([a-z]{3,9})[. \-/]*\d{2}")
"""A day without its year, or a month with the last figures of one: sheets write both so."""
_PARTS = re.compile(r"\d+|[^\W\d_]{3,}")
_SHAPE = re.compile(r"(?:\d+|[^\W\d_]{3,})(?:[./\- ]+(?:\d+|[^\W\d_]{3,}))+\.?")
_TIME = re.compile(r"[ T]\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?$")
_SERIALS: Final = range(20_000, 60_000)
"""Days since 30 December 1899, as spreadsheets count them: 1954 to 2064."""
_EPOCH: Final = date(1899, 12, 30)
_MONTHS: Final = {name.lower(): number for number, name in enumerate(month_abbr) if name} | {
    "mär": 3, "mrz": 3, "mai": 5, "okt": 10, "dez": 12,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Either:
    """Two numbers and a year, of which the first may be the day or the month."""

    first: int
    second: int
    year: int

    @property
    def decided(self) -> Order | None:
        """The only order in which it can be a day."""
        if self.first > 12 >= self.second:
            return "day_first"
        return "month_first" if self.second > 12 >= self.first else None

    def day(self, order: Order) -> date | None:
        if self.first == self.second:
            order = "day_first"
        day, month = (
            (self.first, self.second) if order == "day_first" else (self.second, self.first)
        )
        return _day(self.year, month, day)


@dataclass(frozen=True, slots=True)
class Partial:
    """A year or a month without its day."""

    text: str


@dataclass(frozen=True, slots=True)
class Serial:
    """A number that a spreadsheet would show as a day."""

    day: date


Seen = date | Either | Partial | Serial | None


def figures_of_day(text: str, *, whole: bool = False) -> list[str]:
    """The figures of a day in the order that they stand in, a month's name among them as a number;
    none where it is no day. ``whole``: it is known to be one."""
    typed = _TIME.sub("", text.strip().lower())
    parts = _PARTS.findall(typed)
    names = [one for one in parts if one.isalpha()]
    if any(one[:3] not in _MONTHS for one in names) or len(names) > 1:
        return []
    figures = [str(_MONTHS[one[:3]]) if one.isalpha() else one for one in parts]
    known = whole or bool(names) or any(len(one) == 4 for one in figures)
    is_day = known and len(figures) in (2, 3) and all(len(one) in (1, 2, 4) for one in figures)
    return figures if is_day and _SHAPE.fullmatch(typed) else []


def _lacks_a_part(shown: str) -> bool:
    """Whether a sheet shows a day without its day, or its year: typed without, and added by it."""
    parts = _PARTS.findall(_TIME.sub("", shown.lower()))
    return 0 < sum(not one.isalpha() or one[:3] in _MONTHS for one in parts) < 3


def see_day(cell: Cell, today: date) -> Seen:
    """What stands in a cell of days; None where it is none. ``today`` tells the century of a year
    in two figures."""
    if cell.kind == "day" and _lacks_a_part(cell.shown):
        return Partial(cell.shown)
    text = _TIME.sub("", cell.text.strip().lower())
    if text.isdecimal() and text.isascii() and len(text) == 5 and int(text) in _SERIALS:
        return Serial(_EPOCH + timedelta(days=int(text)))
    if found := _NUMERIC.fullmatch(text):
        return _numeric(found[1], int(found[3]), found[4], today)
    if found := _NAMED.fullmatch(text):
        return _named(found[2], found[1], found[3], today)
    if found := _NAMED_FIRST.fullmatch(text):
        return _named(found[1], found[2], found[3], today)
    short = _SHORT.fullmatch(text)
    named = short is not None and (short[1] or short[2])[:3] in _MONTHS
    return Partial(cell.text.strip()) if named or _PARTIAL.fullmatch(text) else None


def _numeric(first: str, middle: int, last: str, today: date) -> Seen:
    if len(first) == 4:
        return _day(int(first), middle, int(last)) if len(last) < 3 else None
    if len(first) > 2 or len(last) not in (2, 4):
        return None
    seen = Either(int(first), middle, _year(last, today))
    return seen if seen.day("day_first") or seen.day("month_first") else None


def _named(month: str, day: str, year: str, today: date) -> Seen:
    number = _MONTHS.get(month[:3])
    return _day(_year(year, today), number, int(day)) if number else None


def _year(text: str, today: date) -> int:
    year = int(text)
    if len(text) == 4:
        return year
    return 2000 + year if 2000 + year <= today.year else 1900 + year


def _day(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None
