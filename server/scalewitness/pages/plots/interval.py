"""An examiner's error rate with its 95% interval."""

from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from scalewitness.pages.plots.axis import Axis

RATE = Axis(8, 300, 0.0, 0.5)
ROOM = 44
"""Letters of a label that fit the drawing; its title always has the whole."""


def interval(
    label: str, mean: float, low: float, high: float, wrong: int, right: int
) -> SafeString:
    """Rates from 0 to 1, ``low`` ≤ ``mean`` ≤ ``high``, drawn from 0 to 50%: at one half a
    check says nothing. What lies beyond ends in an arrow. The counts are of settled animals.
    """
    beyond = high > RATE.high
    context = {
        "label": label,
        "short": label if len(label) <= ROOM else f"{label[: ROOM - 1]}…",
        "axis": RATE,
        "low": RATE.at(low),
        "high": RATE.at(high),
        "mean": RATE.at(mean) if mean <= RATE.high else None,
        "beyond": beyond,
        "ticks": [(RATE.at(n / 10), f"{n * 10}%") for n in range(6)],
        "counts": f"{wrong} wrong, {right} right",
        "rate": f"{mean:.1%}",
        "range": f"{low:.1%} to {high:.1%}",
    }
    return render_to_string("plots/interval.html", context)
