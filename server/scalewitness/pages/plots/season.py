"""A pairing's season as a strip, true to scale in days: what was seen as lettered marks, what is
expected as open bars. The list beside it says the same."""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Final

from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from scalewitness.domain.season.events import SEEN, Event
from scalewitness.domain.season.expected import Happening, Window
from scalewitness.pages.plots.axis import Axis

ACROSS: Final = (3.0, 94.0)
"""In hundredths of the width that there is."""
LETTERS: Final[Mapping[Event, str]] = {
    "put_together": "p",
    "seen_together": "s",
    "apart": "a",
    "ovulation": "o",
    "shed_before_laying": "d",
    "laid": "e",
    "incubating": "i",
    "hatched": "h",
    "born": "b",
}
APART: Final = 4.5
"""Nearer than this, two marks would cover each other on a phone: the later stands a row lower."""
ROW: Final = 20
MOST_ROWS: Final = 4


def season_strip(seen: Sequence[Happening], windows: Sequence[Window], today: date) -> SafeString:
    """The SVG; empty where nothing was seen."""
    if not seen:
        return SafeString("")
    first = min(seen[0].on, today)
    last = max([today, seen[-1].on, *(one.last for one in windows), first + timedelta(days=30)])
    axis = Axis(*ACROSS, first.toordinal(), last.toordinal())
    marks, rows = _marks(seen, axis)
    bars = [_bar(one, axis, rows + place) for place, one in enumerate(windows)]
    bottom = (rows + len(bars)) * ROW + 4
    context = {
        "marks": marks,
        "bars": bars,
        "today": axis.at(today.toordinal()),
        "first": first,
        "last": last,
        "bottom": bottom,
        "height": bottom + 18,
        "legend": ", ".join(f"{LETTERS[what]} {SEEN[what]}" for what in _used(seen, windows)),
    }
    return render_to_string("plots/season.html", context)


def _bar(one: Window, axis: Axis, row: int) -> dict[str, object]:
    start, end = (axis.at(day.toordinal()) for day in (one.first, one.last))
    place = {"x": start, "width": round(max(end - start, 1.0), 2)}
    y = row * ROW + 4
    return {**place, "y": y, "baseline": y + 11, "letter": LETTERS[one.what]}


def _used(seen: Sequence[Happening], windows: Sequence[Window]) -> list[Event]:
    used = {one.what for one in seen} | {one.what for one in windows}
    return [what for what in LETTERS if what in used]


def _marks(seen: Sequence[Happening], axis: Axis) -> tuple[list[dict[str, object]], int]:
    """Each with its place, and how many rows they take."""
    ends: list[float] = []
    marks: list[dict[str, object]] = []
    for one in seen:
        x = axis.at(one.on.toordinal())
        row = next((n for n, end in enumerate(ends) if x - end >= APART), len(ends))
        row = min(row, MOST_ROWS - 1)
        ends[row : row + 1] = [x]
        y = row * ROW + 12
        marks.append({"x": x, "y": y, "baseline": y + 4, "letter": LETTERS[one.what]})
    return marks, len(ends)
