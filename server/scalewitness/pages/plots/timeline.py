"""What happened to an animal as one strip, true to scale in time, and the same as a list."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.safestring import SafeString

from scalewitness.domain.habits import day_in_short, month_in_words
from scalewitness.pages.plots.axis import Axis, listed
from scalewitness.pages.plots.sign import STROKES

LANES: Final[dict[str, str]] = {
    "standing": "What the record said",
    "check": "Checks",
    "life": "Moves, pairings, sales, health",
    "weight": "Weights",
    "meal": "Meals",
    "shed": "Sheds",
}
COUNTED: Final[dict[str, tuple[str, str]]] = {
    "standing": ("standing", "standings"),
    "check": ("check", "checks"),
    "life": ("other event", "other events"),
    "weight": ("weight", "weights"),
    "meal": ("meal", "meals"),
    "shed": ("shed", "sheds"),
}
CARE: Final = frozenset({"weight", "meal", "shed"})
ACROSS: Final = (2.0, 96.0)
"""Where the strip begins and how far it goes, in hundredths of the width that there is: so it is as
wide as its page, and its marks and words are the same size on every screen."""
APART: Final = 5.5
"""Nearer than this, two marks would cover each other on a phone: the later stands a row lower."""
MOST_ROWS: Final = 6
WORDS_FROM: Final = 34.0
"""A stretch this wide has room for the name of its standing on a phone."""
HEAD, ROW, THIN = 20.0, 20.0, 12.0
STEPS: Final = (1, 2, 3, 6, 12, 24, 60, 120)
"""Months between the dates below the strip."""
MOST_DATES: Final = 4


@dataclass(frozen=True, slots=True)
class Happened:
    """One thing and when it was. ``lane``: its key; ``key``: a letter that stands in its mark;
    ``blind``: whoever checked knew no earlier answer; ``by_letter``: it told somebody something;
    ``label``: the standing from then on; ``fell``: it was verified until then; ``proof``: where it
    stands in the log; ``address``: where to read more."""

    at: datetime
    lane: str
    text: str
    key: str = ""
    blind: bool = False
    by_letter: bool = False
    label: str = ""
    fell: bool = False
    proof: str = ""
    address: str = ""


@dataclass(frozen=True, slots=True)
class Strip:
    """What a strip is drawn of: from the first of the ``events`` until ``now``, a lane for each of
    ``lanes`` in which something happened, by its key with its name."""

    events: Sequence[Happened]
    now: datetime
    lanes: Mapping[str, str]
    title: str = "What happened when"

    def drawing(self, width: str = "100%") -> SafeString:
        """The SVG alone; empty without events. ``width``: in its units, where no page gives one."""
        found = sorted(self.events, key=lambda one: one.at)
        if not found:
            return SafeString("")
        first = found[0].at
        last = max(self.now, found[-1].at, first + timedelta(days=1))
        axis = Axis(*ACROSS, first.timestamp(), last.timestamp())
        used = {one.lane for one in found}
        names = {lane: name for lane, name in self.lanes.items() if lane in used}
        lanes, bottom = _lanes(found, axis, names)
        context = {
            "title": self.title,
            "width": width,
            "lanes": lanes,
            "bottom": bottom,
            "height": bottom + 22,
            "dates_at": bottom + 16,
            "dates": list(_dates(axis, first, last)),
            "first": first,
            "counts": listed([_counted(lane, name, found) for lane, name in names.items()]),
        }
        return render_to_string("plots/strip_of_time.html", context)


def timeline(
    events: Sequence[Happened],
    rows: Sequence[Happened],
    now: datetime,
    lanes: Mapping[str, str] = LANES,
    title: str = "What happened when",
) -> SafeString:
    """The strip of the events, and the ``rows`` of the list below it, newest first; empty without
    events."""
    drawing = Strip(events, now, lanes, title).drawing()
    if not drawing:
        return drawing
    context = {
        "drawing": drawing,
        "fallen": any(one.fell for one in events),
        "by_letter": any(one.by_letter for one in events),
        "rows": sorted(rows, key=lambda one: one.at, reverse=True),
    }
    return render_to_string("plots/timeline.html", context)


def _counted(lane: str, name: str, found: Sequence[Happened]) -> str:
    number = sum(one.lane == lane for one in found)
    if lane in COUNTED:
        return f"{number} {COUNTED[lane][number != 1]}"
    return f"{name} {number}"


def _lanes(
    found: Sequence[Happened], axis: Axis, names: Mapping[str, str]
) -> tuple[list[dict[str, Any]], float]:
    """Each lane under the one before, with its marks, and where the last of them ends."""
    top, lanes = 0.0, []
    for lane, name in names.items():
        events = [one for one in found if one.lane == lane]
        middle = top + HEAD + ROW / 2
        drawn: dict[str, Any] = {"name": name, "baseline": top + 13}
        drawn["kind"] = lane if lane in LANES else ""
        if lane == "standing":
            drawn["stretches"], rows = list(_stretches(events, axis, middle)), 1
        elif lane in CARE:
            ticks = dict.fromkeys(round(axis.at(one.at.timestamp()) * 2) / 2 for one in events)
            drawn |= {"ticks": list(ticks), "from": top + HEAD, "to": top + HEAD + THIN}
            rows = 1
        else:
            drawn["marks"] = list(_marks(events, axis, middle))
            rows = 1 + max(mark["row"] for mark in drawn["marks"])
        lanes.append(drawn)
        top += HEAD + (THIN if lane in CARE else ROW * rows) + 6
    return lanes, top


def _marks(events: Sequence[Happened], axis: Axis, middle: float) -> Iterator[dict[str, Any]]:
    """Each in the first row in which it covers none before it."""
    ends: list[float] = []
    for one in events:
        x = axis.at(one.at.timestamp())
        row = next((n for n, end in enumerate(ends) if x - end >= APART), len(ends))
        row = min(row, MOST_ROWS - 1)
        ends[row : row + 1] = [x]
        y = middle + ROW * row
        yield {"x": x, "y": y, "baseline": y + 4, "row": row, "of": one}


def _stretches(events: Sequence[Happened], axis: Axis, y: float) -> Iterator[dict[str, Any]]:
    """Each standing until the next, by the line that says how sure it is."""
    starts = [axis.at(one.at.timestamp()) for one in events]
    for one, start, end in zip(events, starts, [*starts[1:], axis.end], strict=True):
        yield {
            "x": start,
            "end": end,
            "y": y + 3,
            "baseline": y - 4,
            "label": one.label if end - start >= WORDS_FROM else "",
            "stroke": STROKES[one.label.split(" ", maxsplit=1)[0]],
            "fell": one.fell,
        }


def _dates(axis: Axis, first: datetime, last: datetime) -> Iterator[dict[str, Any]]:
    """The first of every so many months; of less than two of them, the two ends."""
    begin, end = timezone.localtime(first), timezone.localtime(last)
    months = (end.year - begin.year) * 12 + end.month - begin.month
    if months < 2:
        for when, anchor in ((begin, "start"), (end, "end")):
            yield _date(axis, when, day_in_short(when), anchor)
        return
    step = next((one for one in STEPS if months / one <= MOST_DATES), STEPS[-1])
    for count in range(begin.year * 12 + begin.month, end.year * 12 + end.month):
        if count % step == 0:
            when = begin.replace(
                year=count // 12, month=count % 12 + 1, day=1, hour=0, minute=0, second=0
            )
            yield _date(axis, when, f"{when.year}" if step >= 12 else month_in_words(when))


def _date(axis: Axis, when: datetime, word: str, anchor: str = "") -> dict[str, Any]:
    x = axis.at(when.timestamp())
    near = "start" if x < 12 else "end" if x > 88 else "middle"
    return {"x": x, "word": word, "anchor": anchor or near}
