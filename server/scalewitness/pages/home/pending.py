"""What waits for a keeper, in words: one thing of it, and what is read once for all."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal

from scalewitness.people.models import Keeper
from scalewitness.sales.models import Sale
from scalewitness.visits.models import Visit

Group = Literal["needs", "waits", "coming"]
GROUPS: Final[dict[Group, str]] = {
    "needs": "Needs you",
    "waits": "Waits for others",
    "coming": "Coming up",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Pending:
    """One thing that waits. ``what``: a verb and whom it concerns; ``about``: the animal, or whose
    it is; ``since``: in words; ``do``: what the link is for, if there is one. ``urgent``: someone
    may be relying on what no longer holds."""

    what: str
    about: str
    url: str = ""
    do: str = ""
    since: str = ""
    group: Group = "needs"
    urgent: bool = False


@dataclass(frozen=True, slots=True)
class Desk:
    """What is read once for all of it."""

    keeper: Keeper
    now: datetime
    sales: list[Sale]
    visits: list[Visit]


def ago(then: datetime, now: datetime) -> str:
    """``today``, ``yesterday``, ``for 3 days``, ``for 5 weeks``."""
    days = (now - then).days
    if days < 2:
        return "yesterday" if days else "today"
    return f"for {days} days" if days < 21 else f"for {days // 7} weeks"
