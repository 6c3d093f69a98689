"""What is noted of one request; gunicorn's logger reads it, and loads before Django does."""

from dataclasses import dataclass
from typing import Final

NOTED: Final = "scalewitness.noted"
"""In the WSGI environment."""


@dataclass(slots=True)
class RequestNotes:
    """``route``: a pattern of the table of addresses, or one of a few words; ``keeper``: a
    pseudonym of the day, where the answer depended on who asked."""

    id: str
    route: str = "turned_away"
    status: int = 500
    keeper: str | None = None
