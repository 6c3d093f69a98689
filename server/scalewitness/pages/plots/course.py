"""How the probability moved, change by change, in the order of the log."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import floor, log10
from typing import Any

from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from scalewitness.pages.plots.axis import Axis

TOP, ROW = 44.0, 18.0
LEAST = 10**-3.5
"""Nearer to certain than this is drawn at the edge; the number beside it still tells."""
ACROSS = Axis(34, 206, log10(LEAST / (1 - LEAST)), -log10(LEAST / (1 - LEAST)))


@dataclass(frozen=True, slots=True)
class Turn:
    """One change in the log. ``mark`` stands beside it, ``text`` says what it was;
    ``p_male`` and ``label`` are the standing after it."""

    mark: str
    text: str
    p_male: float
    label: str


def course(turns: Sequence[Turn], *, probable: float, verified: float) -> SafeString:
    """The drawing, from even chances down to now; empty without turns.

    Across: the odds of female to male, each division tenfold. ``probable`` and
    ``verified`` are the shares the labels need, between one half and one.
    """
    if not turns:
        return SafeString("")
    rows = [_row(turn, n) for n, turn in enumerate(turns)]
    bottom = TOP + ROW * len(turns) + 8
    context = {
        "axis": ACROSS,
        "even": _place(0.5),
        "lines": [*_lines("probable", probable, 39), *_lines("verified", verified, 26)],
        "rows": rows,
        "start": TOP - 3,
        "path": _path(rows),
        "bottom": bottom,
        "height": bottom + 18,
        "share_baseline": bottom + 13,
        "described": list(_described(turns, probable, verified)),
    }
    return render_to_string("plots/course.html", context)


def _place(p_male: float) -> float:
    held = min(max(p_male, LEAST), 1 - LEAST)
    return ACROSS.at(log10(held / (1 - held)))


def _lines(word: str, share: float, baseline: float) -> Iterable[dict[str, Any]]:
    """A label's line on either side, its word on the outer side of it."""
    for p, anchor, offset in ((1 - share, "end", -2), (share, "start", 2)):
        x = _place(p)
        yield {
            "x": x,
            "word_x": x + offset,
            "word": word,
            "anchor": anchor,
            "baseline": baseline,
            "top": baseline - 8,
            "share": f"{share * 100:g}%",
        }


def _row(turn: Turn, n: int) -> dict[str, Any]:
    y = TOP + ROW * (n + 0.5)
    return {"mark": turn.mark, "x": _place(turn.p_male), "y": y, "baseline": y + 4} | {
        "share": _share(turn.p_male)
    }


def _share(p_male: float) -> str:
    """The favoured sex with its chance, never rounded up: ``99.6% male``."""
    if p_male == 0.5:
        return "even"
    chance, sex = (p_male, "male") if p_male > 0.5 else (1 - p_male, "female")
    tenths = floor(chance * 1000 + 1e-6) / 10  # float noise must not cost a tenth
    return f"{'over 99.9' if tenths >= 100 else tenths}% {sex}"


def _path(rows: Sequence[dict[str, Any]]) -> str:
    """Down to each row at the old chance, then across to the new one."""
    steps = "".join(f"V{row['y']:g}H{row['x']:g}" for row in rows)
    return f"M{_place(0.5):g} {TOP - 3:g}{steps}"


def _described(turns: Sequence[Turn], probable: float, verified: float) -> Iterable[str]:
    yield (
        f"From female on the left to male on the right, beginning at even chances. "
        f"Probable needs {probable * 100:g}%, verified {verified * 100:g}% and more besides."
    )
    before, label = 0.5, "unsexed"
    for turn in turns:
        yield f"{turn.text}: {_pushed(before, turn.p_male)}{_named(label, turn.label)}."
        before, label = turn.p_male, turn.label


def _pushed(before: float, after: float) -> str:
    if before == after:
        return f"no change, {_share(after)}"
    return f"towards {'male' if after > before else 'female'}, to {_share(after)}"


def _named(before: str, after: str) -> str:
    return "" if before == after else f", now {after}"
