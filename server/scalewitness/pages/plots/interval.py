"""Estimates with their 95% intervals on one scale, and how many animals stand behind each."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from scalewitness.pages.plots.axis import Axis

TOO_FEW: Final = 10
"""Below so many animals an estimate is not drawn (our judgement): its interval would fill the scale
and be read as a fault of the examiner's."""
ROOM: Final = 34
"""Letters of a label that fit the drawing; its description always has the whole."""
ROW: Final = 44.0


@dataclass(frozen=True, slots=True)
class Scale:
    """``ticks``: values with what stands beneath them, the first and the last at the ends;
    ``words``: what the ends mean."""

    ticks: tuple[tuple[float, str], ...]
    words: str

    @property
    def axis(self) -> Axis:
        return Axis(8, 300, self.ticks[0][0], self.ticks[-1][0])


ERROR: Final = Scale(
    tuple((n / 10, f"{n * 10}%") for n in range(6)),
    "Share of calls that were wrong. At 50% they tell nothing.",
)
AGREEMENT: Final = Scale(
    ((-1, "−1"), (-0.5, "−0.5"), (0, "chance"), (0.5, "0.5"), (1, "1")),
    "1: the same answer always. Chance: as often as by guessing.",
)


@dataclass(frozen=True, slots=True)
class Estimated:
    """``animals``: how many stand behind it; ``value``, ``low``, ``high``: None where there is no
    such figure; ``words``: the figures as they are written."""

    label: str
    animals: int
    value: float | None = None
    low: float | None = None
    high: float | None = None
    words: str = ""

    @property
    def tells(self) -> bool:
        return self.animals >= TOO_FEW and self.value is not None


def intervals(title: str, estimates: Sequence[Estimated], scale: Scale) -> SafeString:
    """A row for each, in the order given; empty without any. What lies beyond the scale ends in an
    arrow."""
    if not estimates:
        return SafeString("")
    bottom = ROW * len(estimates)
    context = {
        "title": title,
        "scale": scale,
        "axis": scale.axis,
        "rows": [_row(one, n, scale.axis) for n, one in enumerate(estimates)],
        "bottom": bottom,
        "height": bottom + 24,
        "ticks": [(scale.axis.at(value), word) for value, word in scale.ticks],
    }
    return render_to_string("plots/intervals.html", context)


def _row(one: Estimated, n: int, axis: Axis) -> dict[str, Any]:
    top = ROW * n
    row: dict[str, Any] = {
        "of": one,
        "short": one.label if len(one.label) <= ROOM else f"{one.label[: ROOM - 1]}…",
        "baseline": top + 13,
        "y": top + 27,
        "ends": (top + 22, top + 32),
        "few": not one.tells,
    }
    if one.tells and one.value is not None:
        row["at"] = axis.at(one.value) if axis.low <= one.value <= axis.high else None
    if one.tells and one.low is not None and one.high is not None:
        row |= {"low": axis.at(one.low), "high": axis.at(one.high), "beyond": one.high > axis.high}
    return row
