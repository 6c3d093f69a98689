"""Each probe pass as a mark on a scale-count axis, over what is usual for each sex."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import ceil
from typing import Any

from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from scalewitness.domain.observations import Pass
from scalewitness.domain.sexing.taxa import Taxon
from scalewitness.domain.sexing.taxon_sources import Range
from scalewitness.pages.plots.axis import Axis, plain

LANE, GAP, TOP = 13.0, 6.0, 60.0
"""Height of one pass, room between calls, and where the first begins."""
MIDDLE = 170.0
"""A range that begins right of here has its words end with it, so that they fit."""


@dataclass(frozen=True, slots=True)
class Probed:
    """The passes of one call. ``letter`` is the call's on the page; ``state`` is "counts",
    or in words why it does not."""

    letter: str
    passes: Sequence[Pass]
    state: str = "counts"

    @property
    def drawn(self) -> list[Pass]:
        return [run for run in self.passes if run.stopped != "aborted"]

    @property
    def name(self) -> str:
        return f"Call {self.letter}" + ("" if self.state == "counts" else f" ({self.state})")


def depths(probed: Sequence[Probed], kind: Taxon, key: str) -> SafeString:
    """The drawing with its legend; empty when no pass was recorded.

    ``key`` tells this animal's drawing from others on the page; letters, digits, hyphens.
    """
    shown = [one for one in probed if one.passes]
    if not shown:
        return SafeString("")
    axis = _axis(shown, kind)
    calls, bottom = _calls(shown, axis)
    context = {
        "key": key,
        "axis": axis,
        "calls": calls,
        "bottom": bottom,
        "height": bottom + 34,
        "bands": [_band(sex, kind, axis, bottom) for sex in ("female", "male")],
        "ticks": _ticks(axis),
        "tick_end": bottom + 4,
        "tick_baseline": bottom + 15,
        "axis_baseline": bottom + 29,
        "described": list(_described(shown, kind)),
        "not_drawn": list(_not_drawn(shown)),
        "doubted": any(one.state != "counts" for one in shown),
    }
    return render_to_string("plots/depths.html", context)


def _axis(shown: Iterable[Probed], kind: Taxon) -> Axis:
    """From no scale to one beyond the deepest mark or range."""
    found = [float(run.scales) for one in shown for run in one.drawn]
    usual = [float(given[1]) for given in (kind.female_range, kind.male_range) if given]
    return Axis(26, 282, 0, ceil(max([*found, *usual, 5])) + 1)


def _ticks(axis: Axis) -> list[dict[str, Any]]:
    worded = 2 if axis.high <= 16 else 5
    return [
        {"x": axis.at(scale), "word": scale if scale % worded == 0 else None}
        for scale in range(int(axis.high) + 1)
    ]


def _band(sex: str, kind: Taxon, axis: Axis, bottom: float) -> dict[str, Any]:
    given = kind.female_range if sex == "female" else kind.male_range
    top = 15 if sex == "female" else 40
    words = {
        "sex": sex,
        "top": top,
        "foot": top + 8,
        "baseline": top - 4,
        "text": f"{sex}s usually {_span(given)}",
    }
    if given is None:
        return words | {"known": False, "text_x": axis.start, "anchor": "start"}
    start, end = (axis.at(float(edge)) for edge in given)
    ends = start > MIDDLE
    return words | {
        "known": True,
        "start": start,
        "width": round(max(end - start, 2), 2),
        "field_height": bottom - top - 8,
        "text_x": end if ends else start,
        "anchor": "end" if ends else "start",
    }


def _span(given: Range | None) -> str:
    if given is None:
        return "not known"
    low, high = map(plain, given)
    return low if low == high else f"{low} to {high}"


def _calls(shown: Iterable[Probed], axis: Axis) -> tuple[list[dict[str, Any]], float]:
    """The calls with the places of their marks, and where the last one ends."""
    calls, y = [], TOP
    for one in shown:
        if not one.drawn:
            continue
        marks = [_mark(run, axis, y + LANE * (n + 0.5)) for n, run in enumerate(one.drawn)]
        word = one.letter if one.state == "counts" else f"({one.letter})"
        baseline = marks[0]["y"] + 4
        calls.append({"word": word, "baseline": baseline, "marks": marks, "state": one.state})
        y += LANE * len(marks) + GAP
    return calls, y


def _mark(run: Pass, axis: Axis, y: float) -> dict[str, Any]:
    x = axis.at(float(run.scales))
    return {
        "x": x,
        "y": y,
        "side": run.side,
        "open": run.stopped == "choice",
        "corner": (round(x - 4, 2), y - 4),
        "arrow": f"M{x + 4:g} {y:g}h14m-4 -3l4 3l-4 3",
    }


# --- in words -----------------------------------------------------------------------------


def _described(shown: Iterable[Probed], kind: Taxon) -> Iterable[str]:
    sources = f" The widest reading of {len(kind.sources)} sources." if kind.disputed else ""
    yield (
        f"In the {kind.common} females usually probe {_scales(kind.female_range)} and males "
        f"{_scales(kind.male_range)}.{sources}"
    )
    for one in shown:
        yield f"{one.name}: {'; '.join(_pass(run) for run in one.passes)}."


def _scales(given: Range | None) -> str:
    return "to a depth that is not known" if given is None else f"{_span(given)} scales deep"


def _pass(run: Pass) -> str:
    if run.stopped == "aborted":
        return f"{run.side} side broken off, not drawn"
    deep = f"{run.side} side {plain(run.scales)} scale{'' if run.scales == 1 else 's'}"
    gliding = " or deeper, stopped by choice while still gliding"
    return deep + (gliding if run.stopped == "choice" else "")


def _not_drawn(shown: Iterable[Probed]) -> Iterable[str]:
    for one in shown:
        for run in one.passes:
            if run.stopped == "aborted":
                yield f"call {one.letter}, {run.side} side"
