"""What only pages show: a standing's sign and its range, and what the log's readers saw."""

import re
from typing import Any

from django import template
from django.forms import BaseForm
from django.template import Context
from django.template.base import NodeList, Parser, Token
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from scalewitness.domain.sexing.sensitivity import Sensitivity, hundredths
from scalewitness.domain.sexing.standing import Assessment
from scalewitness.ledger.queries.witnesses import heads_seen, watching
from scalewitness.ledger.services.memory import present_origin
from scalewitness.pages.disclosures.disclosure import DELIVERY
from scalewitness.pages.plots.sign import Drawn, sign
from scalewitness.standings.queries.assessing import Yardstick

register = template.Library()

HEADS = 5
"""Heads in the short table of who has seen what."""
LEFT, LENGTH = 4.0, 92.0
"""Of the drawing's 100 units."""
ENDS = SafeString('<p class="ends" aria-hidden="true"><span>female</span><span>male</span></p>')


@register.simple_tag
def standing_sign(of: Assessment, by: Yardstick, checked: object = True) -> SafeString:
    """The sign of a standing as cards show it, between its two ends in words."""
    drawn = Drawn(of.label, of.p_male, of.p_male_pessimistic, bool(checked))
    return sign(drawn, by.policy.verified, "large") + ENDS


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


@register.inclusion_tag("parts/errors.html", takes_context=True)
def refusal(
    context: Context, lead: str = "Nothing was recorded.", of: BaseForm | None = None
) -> dict[str, Any]:
    """Why a form was refused, with the focus on it and the way to each field: ``of`` that form,
    else of whichever was sent to the page."""
    form = of if of is not None else _sent(context)
    if form is None or not form.errors:
        return {}
    fields = [one for one in form.visible_fields() if one.errors]
    hidden = [one for one in form.hidden_fields() if one.errors]
    return {"form": form, "lead": lead, "fields": fields, "hidden": hidden}


def _sent(context: Context) -> BaseForm | None:
    """The form that was sent and refused; None where the page was merely opened."""
    request = context.get("request")
    if request is None or request.method != "POST":
        return None
    shown: list[Any] = list(context.flatten().values())
    return next((one for one in shown if isinstance(one, BaseForm) and one.errors), None)


@register.simple_tag(takes_context=True)
def nav_link(context: Context, name: str, words: str) -> SafeString:
    """A line of the head, marked where it leads to the page that is shown."""
    address, request = reverse(name), context.get("request")
    here = mark_safe(' aria-current="page"') if request and request.path == address else ""
    return format_html('<li><a href="{}"{}>{}</a></li>', address, here, words)


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


_SAYS_POSITION = re.compile(r"\bpositions?\b|\bentry [0-9]", re.IGNORECASE)


class SaysWhoseLog(template.Node):
    """What stands inside, and once beneath it whose log its positions are of, if it has any."""

    def __init__(self, inside: NodeList) -> None:
        self.nodelist = inside

    def render(self, context: Context) -> SafeString:
        inside = self.nodelist.render(context)
        if not _SAYS_POSITION.search(inside):
            return inside
        return inside + format_html(
            '<p class="fine whose-log">Positions are of the log <code>{}</code>.</p>',
            present_origin(),
        )


@register.tag
def positions(parser: Parser, token: Token) -> SaysWhoseLog:
    """``{% positions %}…{% endpositions %}``, around all that a page says."""
    inside = parser.parse(("endpositions",))
    parser.delete_first_token()
    return SaysWhoseLog(inside)


@register.inclusion_tag("parts/watchers.html")
def watchers() -> dict[str, Any]:
    """How many have seen which head of the log: counts and times, no names."""
    return {"watching": watching(), "heads": heads_seen(HEADS)}
