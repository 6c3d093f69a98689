"""The minutes of a visit as a bar, and what a check takes off the chance of a wrong decision."""

from collections.abc import Sequence

from django.template.loader import render_to_string
from django.utils.safestring import SafeString

LONG = 100.0
"""Of the drawing's units: the whole bar."""


def minutes_bar(checks: Sequence[tuple[str, float]], setups: float, budget: float) -> SafeString:
    """``checks``: each animal with the minutes at it, in order; then what it takes to get them
    out and back, and what is left of the ``budget``."""
    whole = max(budget, setups + sum(each for _, each in checks))
    start, parts = 0.0, []
    for nth, (title, minutes) in enumerate(checks, 1):
        width = LONG * minutes / whole
        parts.append({"x": f"{start:.2f}", "width": f"{width:.2f}", "nth": nth, "title": title})
        start += width
    out = {"x": f"{start:.2f}", "width": f"{LONG * setups / whole:.2f}"}
    context = {"parts": parts, "out": out, "used": round(whole and start / LONG * whole + setups)}
    return render_to_string("plots/minutes.html", context | {"budget": round(budget)})


def gain_bar(now: float, after: float, most: float) -> SafeString:
    """The chance of a wrong decision ``now``, of which the full part is left ``after`` the check;
    ``most``: the largest beside it, as long as the bar."""
    context = {"now": f"{LONG * now / most:.2f}", "after": f"{LONG * after / most:.2f}"}
    words = {"now_in_100": _in_100(now), "after_in_100": _in_100(after)}
    return render_to_string("plots/gain.html", context | words)


def _in_100(share: float) -> str:
    return f"{100 * share:.1f}".removesuffix(".0")
