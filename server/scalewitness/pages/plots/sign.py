"""The sign of a standing: one drawing for lists, cards, plots and papers. `LANGUAGE.md` says how it
is read."""

from dataclasses import dataclass
from math import log
from typing import Any, Literal

from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from scalewitness.pages.plots.axis import Axis

Size = Literal["row", "large"]

SIZES: dict[Size, tuple[float, float]] = {"row": (128, 18), "large": (320, 26)}
"""Width and height of the drawing, in its units."""
FURTHEST = log(1999)
"""Odds of 2,000 to 1 lie at either end (our judgement: a label asks for less, and what is surer
still differs to nobody); the words and numbers beside it tell the rest."""
EDGE = 6.0
MARK = 4.5
"""Radius of the mark."""

STROKES = {"verified": "", "probable": "5 2.5", "contested": "9 4", "unsexed": "1.2 2.6"}
"""How sure a label is, by the line: whole, dashed, broken, dotted."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """What a sign shows. ``label``: as the record states it; ``p_male``, ``strictly``: the plain
    reading and the strict one; ``checked``: whether anybody's check is in it."""

    label: str
    p_male: float
    strictly: float
    checked: bool = True


UNSEXED = Drawn("unsexed", 0.5, 0.5, checked=False)


def sign(of: Drawn, verified: float, size: Size = "row", *, alone: bool = True) -> SafeString:
    """The drawing, in the colour of the text around it. ``verified``: the chance that the rule in
    force asks for, marked on either side. Not ``alone``: the same is said beside it in words, and
    whoever does not see it need not hear it twice."""
    return render_to_string("plots/sign.html", {**_drawn(of, verified, size), "alone": alone})


def _drawn(of: Drawn, verified: float, size: Size) -> dict[str, Any]:
    width, height = SIZES[size]
    axis = Axis(EDGE, width - 2 * EDGE, -FURTHEST, FURTHEST)
    at, other = axis.at(_odds(of.p_male)), axis.at(_odds(of.strictly))
    kind = of.label.split(" ", maxsplit=1)[0]
    return {
        "size": size,
        "width": width,
        "height": height,
        "middle": height / 2,
        "axis": axis,
        "before": max(axis.start, at - MARK),
        "behind": min(axis.end, at + MARK),
        "even": axis.at(0),
        "needed": [axis.at(side * _odds(verified)) for side in (-1, 1)],
        "at": at,
        "radius": MARK,
        "reach": _reach(at, other),
        "stroke": STROKES[kind],
        "kind": kind,
        "checked": of.checked,
        "share": f"{of.p_male:.1%}",
        "strict": f"{of.strictly:.1%}",
    }


def _reach(at: float, other: float) -> tuple[float, float] | None:
    """From the edge of the mark to the strict reading; None where the mark covers it."""
    if abs(at - other) <= MARK:
        return None
    return (at + MARK if other > at else at - MARK), other


def _odds(p_male: float) -> float:
    held = min(max(p_male, 1e-12), 1 - 1e-12)
    return log(held / (1 - held))
