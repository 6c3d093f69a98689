"""Whether the animal that arrived is the one that was sold, by its buyer's word.

That word changes no standing and holds no sale: a buyer who keeps one snake and would return
another gains nothing by it. It has its day in the log, before or after anything else was said.
"""

from collections.abc import Collection
from typing import Final, Literal

from scalewitness.domain.identifiers import compare_transponder

ArrivalAnswer = Literal["same", "another", "cannot_tell"]
Fits = Literal["same", "later", "another", "unreadable"]

MOST_A_DAY: Final = 5
"""Answers about one animal (our judgement: each brings its seller a letter, and a link can get
into wrong hands)."""
ARRIVED_IN_WORDS: Final[dict[ArrivalAnswer, str]] = {
    "same": "the same snake arrived, by its buyer’s word",
    "another": "another snake arrived, by its buyer’s word",
    "cannot_tell": "its buyer cannot tell whether the same snake arrived",
}
READ_IN_WORDS: Final[dict[Fits, str]] = {
    "same": "is the one on record",
    "later": "was put on record after they confirmed the offer",
    "another": "is not the one on record",
    "unreadable": "is no transponder’s number",
}


def compare_on_arrival(
    read: str, confirmed: Collection[str], since: Collection[str]
) -> Fits | None:
    """What a transponder read from the snake that arrived says: by the codes on record when its
    buyer ``confirmed`` the offer, and those put there ``since``, which can be anybody's. None where
    there was none to compare with."""
    found = compare_transponder(read, confirmed)
    if found == "another" and compare_transponder(read, since) == "same":
        return "later"
    return found if found != "another" or confirmed or since else None


def arrival_in_words(answer: ArrivalAnswer, read: str, fits: Fits | None, *, photo: bool) -> str:
    """One sentence without its full stop. ``read``: the transponder read, or nothing."""
    answered = ARRIVED_IN_WORDS[answer]
    if read:
        shown = f" {READ_IN_WORDS[fits]}" if fits else ", and none is on record"
        return f"{answered}; the transponder they read, {read}{',' if fits else ''}{shown}"
    return f"{answered}; they compared a photo" if photo else answered
