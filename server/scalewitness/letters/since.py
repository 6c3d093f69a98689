"""What is true of an animal as a letter about it leaves, if that is not what the letter says."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from scalewitness.mail.models import Letter
from scalewitness.seasons.queries.shown import worked_out_since
from scalewitness.standings.queries.logged import latest_standing


def changed_since(letter: Letter) -> Mapping[str, Any] | None:
    """``label`` and ``position`` of the standing in force, where the letter names another.

    A change that is owed no letter of its own would else make the last word of this one wrong.
    Of an animal that its reader may not see it says nothing.
    """
    animal, now = letter.context["animal"], letter.context.get("now")
    if animal is None or now is None:
        return None
    named = now["label"] if isinstance(now, Mapping) else now
    standing = latest_standing(UUID(animal["id"]))
    if standing is None or standing.label == named:
        return None
    return {"label": standing.label, "position": standing.position}


def losses_of(letter: Letter) -> list[dict[str, Any]]:
    """Of a letter about pairings, the reader's seasons, each with what it was expected to bring
    ``before`` and what it brings ``now``, once that is worked out: as the letter leaves."""
    return [one | _loss(letter, one) for one in letter.context.get("plans", ())]


def _loss(letter: Letter, plan: Mapping[str, Any]) -> dict[str, str]:
    position = letter.context.get("position")
    if position is None:
        return {}
    found = worked_out_since(UUID(plan["collection"]), plan["season"], letter.recipient, position)
    broken = found.broken if found else None
    if found is None or broken is None or broken.before is None:
        return {}
    return {"before": f"{broken.before:.1f}", "now": f"{found.worth.expected:.1f}"}
