"""Chances as bars, each with its words and its share: as long as it is likely."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from django.template.loader import render_to_string
from django.utils.safestring import SafeString

LONG: Final = 100.0
"""Of the drawing's units: a certainty."""


@dataclass(frozen=True, slots=True)
class Bar:
    """``chance`` in [0, 1]; ``words``: it as it is written; ``warns``: of harm."""

    label: str
    chance: float
    words: str
    fine: str = ""
    warns: bool = False

    @property
    def width(self) -> str:
        return f"{LONG * self.chance:.2f}"


def bars(caption: str, rows: Sequence[Bar], heading: str) -> SafeString:
    """A table with a bar in each row, likeliest as given first; empty without rows. ``heading``:
    of what stands in its first column."""
    if not rows:
        return SafeString("")
    context = {"caption": caption, "rows": rows, "heading": heading}
    return render_to_string("plots/bars.html", context)
