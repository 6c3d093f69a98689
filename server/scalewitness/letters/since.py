"""What is true of an animal as a letter about it leaves, if that is not what the letter says."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from scalewitness.mail.models import Letter
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
