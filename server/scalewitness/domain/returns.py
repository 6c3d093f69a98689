"""An animal that came back from its sale, and on whose word."""

from datetime import datetime, timedelta
from typing import Final, Literal

OPEN_FOR = timedelta(days=14)
"""How long its buyer may confirm or deny what only the seller states (our judgement)."""

ReturnState = Literal["by_buyer", "confirmed", "denied", "waiting", "silent"]
ANSWERED: Final = frozenset({"by_buyer", "confirmed", "denied"})
BACK: Final = frozenset({"by_buyer", "confirmed", "silent"})
"""It can be offered again."""
RETURNED_IN_WORDS: Final[dict[ReturnState, str]] = {
    "by_buyer": "returned, by its buyer’s word",
    "confirmed": "returned, as seller and buyer both say",
    "denied": "the seller says that it was returned; its buyer denies that",
    "waiting": "returned, by the seller’s word; its buyer can still deny that",
    "silent": "returned, by the seller’s word; its buyer was asked and did not answer",
}


AGAIN_IN_WORDS: Final = (
    "the seller says again that it was returned; its buyer denied that before, and only their yes "
    "counts now"
)


def return_state(
    *,
    by_seller: bool,
    answer: str | None,
    denied_before: bool,
    informed_at: datetime | None,
    now: datetime,
) -> ReturnState:
    """``informed_at``: when the letter about it left, None while it has reached nobody. Of somebody
    who was not told, silence says nothing; nor does it of who has denied it once."""
    if not by_seller:
        return "by_buyer"
    if answer is not None:
        return "confirmed" if answer == "confirmed" else "denied"
    if denied_before or informed_at is None:
        return "waiting"
    return "silent" if informed_at + OPEN_FOR <= now else "waiting"
