"""What only pages show: the scale of a standing."""

from typing import Any

from django import template

from scalewitness.domain.sexing.sensitivity import Sensitivity, hundredths
from scalewitness.ledger.queries.witnesses import heads_seen, watching
from scalewitness.pages.disclosures.disclosure import DELIVERY

register = template.Library()

HEADS = 5
"""Heads in the short table of who has seen what."""
LEFT, LENGTH = 4.0, 92.0
"""Of the drawing's 100 units."""


@register.inclusion_tag("parts/scale.html")
def scale(p_male: float | str, p_male_pessimistic: float | str) -> dict[str, Any]:
    """A line from female to male with the answer as a dot and, to the pessimistic answer,
    a bar: how far it would give if every check were trusted less."""
    base, sceptical = float(p_male), float(p_male_pessimistic)
    at, other = LEFT + LENGTH * base, LEFT + LENGTH * sceptical
    return {
        "at": f"{at:.2f}",
        "from": f"{min(at, other):.2f}",
        "width": f"{max(abs(at - other), 0.5):.2f}",
        "percent": f"{base:.1%}",
        "sceptical": f"{sceptical:.1%}",
    }


@register.inclusion_tag("parts/range.html")
def answer_range(found: Sensitivity) -> dict[str, Any]:
    """The answer's range on the same line, each kind of uncertainty with its part of it."""
    whole, start = found.p_high - found.p_low, found.p_low
    parts = []
    for nth, part in enumerate(found.parts, 1):
        parts.append(
            {
                "nth": nth,
                "from": f"{LEFT + LENGTH * start:.2f}",
                "width": f"{LENGTH * part.by:.2f}",
                "what": part.what,
                "share": f"{100 * part.by / whole:.0f}",
            }
        )
        start += part.by
    low, high = hundredths(found.p_low), hundredths(found.p_high)
    return {"parts": parts, "low": low, "high": high}


@register.filter
def shown_value(value: object) -> str:
    """A record's value in a comparison; nothing at all says so."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value) or "(empty)"


@register.filter
def spaced(word: str) -> str:
    """``identifier_assigned`` as ``identifier assigned``."""
    return word.replace("_", " ")


@register.filter
def delivery(state: str) -> str:
    """How far a letter got."""
    return DELIVERY[state]


@register.inclusion_tag("parts/watchers.html")
def watchers() -> dict[str, Any]:
    """How many have seen which head of the log: counts and times, no names."""
    return {"watching": watching(), "heads": heads_seen(HEADS)}
