"""How the standings of many animals divide: one strip, certainty told by how full it is drawn."""

from collections import Counter
from collections.abc import Iterable

from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from scalewitness.domain.consequences import sex_of

WIDTH, GAP = 320.0, 2.0
ORDER = (
    "verified female", "probable female", "contested", "unsexed", "probable male", "verified male",
)  # fmt: skip
"""From one end of the sign of a standing to the other."""


def strip(labels: Counter[str]) -> SafeString:
    """The drawing, and what it says to whom does not see it; empty without animals."""
    if not labels.total():
        return SafeString("")
    parts, at = [], 0.0
    for label, number in _in_order(labels):
        wide = WIDTH * number / labels.total()
        kind = label.split(" ", maxsplit=1)[0]
        parts.append({"kind": kind, "x": round(at, 2), "width": round(max(wide - GAP, 0.5), 2)})
        at += wide
    words = ", ".join(f"{number} {label}" for label, number in _in_order(labels))
    return render_to_string("plots/strip.html", {"parts": parts, "width": WIDTH, "words": words})


def _in_order(labels: Counter[str]) -> Iterable[tuple[str, int]]:
    """Those that there are; a label that is none of these stands in the middle."""
    known = [one for one in ORDER if labels[one]]
    others = sorted(one for one in labels if one not in ORDER and labels[one])
    middle = sum(sex_of(one) == "female" for one in known)
    return ((one, labels[one]) for one in (*known[:middle], *others, *known[middle:]))
