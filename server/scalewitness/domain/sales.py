"""The sale as a table: which step may follow which state, and by whom.

States and steps as in the trade: offered, confirmed, paid, handed over, closed. A hold
lies over an open sale; only a new offer (or its end) lifts it.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Final, Literal

State = Literal[
    "draft",
    "offered",
    "confirmed",
    "paid",
    "handed_over",
    "closed",
    "declined",
    "withdrawn",
    "lapsed",
    "released",
]
Party = Literal["seller", "buyer", "system"]

STEPS: dict[tuple[State, str], State] = {
    ("draft", "offer_made"): "offered",
    ("offered", "offer_made"): "offered",
    ("confirmed", "offer_made"): "offered",
    ("declined", "offer_made"): "offered",
    ("withdrawn", "offer_made"): "offered",
    ("lapsed", "offer_made"): "offered",
    ("offered", "offer_withdrawn"): "withdrawn",
    ("confirmed", "offer_withdrawn"): "withdrawn",
    ("offered", "offer_declined"): "declined",
    ("offered", "offer_lapsed"): "lapsed",
    ("offered", "check_requested"): "offered",
    ("offered", "sale_confirmed"): "confirmed",
    ("offered", "sale_held"): "offered",
    ("confirmed", "sale_held"): "confirmed",
    ("confirmed", "payment_recorded"): "paid",
    ("confirmed", "offer_lapsed"): "lapsed",
    ("paid", "handed_over"): "handed_over",
    ("paid", "release_asked"): "paid",
    ("paid", "release_denied"): "paid",
    ("paid", "release_agreed"): "released",
    ("paid", "arrival_compared"): "paid",
    ("handed_over", "sale_closed"): "closed",
    ("handed_over", "arrival_compared"): "handed_over",
    ("handed_over", "return_answered"): "handed_over",
    ("closed", "arrival_compared"): "closed",
    ("closed", "return_answered"): "closed",
}

MAY: dict[str, Party] = {
    "offer_made": "seller",
    "offer_withdrawn": "seller",
    "payment_recorded": "seller",
    "handed_over": "seller",
    "release_asked": "seller",
    "sale_closed": "seller",
    "offer_declined": "buyer",
    "check_requested": "buyer",
    "sale_confirmed": "buyer",
    "release_agreed": "buyer",
    "release_denied": "buyer",
    "arrival_compared": "buyer",
    "return_answered": "buyer",
    "sale_held": "system",
    "offer_lapsed": "system",
}

BLOCKED_WHILE_HELD = frozenset({"sale_confirmed", "payment_recorded", "handed_over"})
UNPAID: frozenset[State] = frozenset({"offered", "confirmed"})
LEAVE_UNPAID: Final = frozenset(kind for (_, kind), after in STEPS.items() if after in UNPAID)
"""The steps after which an offer may still run out."""
HANDED_OVER: frozenset[State] = frozenset({"handed_over", "closed"})
RELIED_ON: frozenset[State] = HANDED_OVER | {"paid"}
PROMISED: frozenset[State] = RELIED_ON | {"confirmed"}
"""The animals go to the buyer and to nobody else."""
AGREED: frozenset[State] = PROMISED | {"released"}
"""The buyer confirmed the offer, whatever became of the payment."""
ASK_AGAIN_AFTER: Final = timedelta(days=7)
"""How often a seller may ask for a release (our judgement): each time brings a letter."""
WHY_RELEASED: Final = {
    "recorded_by_mistake": "the payment was recorded by mistake",
    "paid_back": "the payment was paid back",
}
ENDED: Final = "animal_ended"
"""Why a sale is held: an animal of it is no longer there."""
DAYS_TO_PAY: Final = 14
"""After the confirmation, where an offer states nothing else (our judgement)."""
LIVE: frozenset[State] = UNPAID | RELIED_ON


@dataclass(frozen=True, slots=True)
class Progress:
    """Where a sale stands: its state, the offer in force and why it is held, if it is."""

    state: State = "draft"
    offer: str | None = None
    held: tuple[str, ...] = ()

    @property
    def is_held(self) -> bool:
        """Whether the hold still keeps it from going on."""
        return bool(self.held) and self.state in UNPAID


@dataclass(frozen=True, slots=True)
class Step:
    """One logged step; ``reason`` only for a hold."""

    id: str
    kind: str
    reason: str | None = None


def refusal(progress: Progress, kind: str) -> str | None:
    """Why ``kind`` cannot be the next step, in words; None when it can."""
    if progress.held and kind in BLOCKED_WHILE_HELD:
        return f"{_held_because(progress.held)}; a new offer is needed first."
    if (progress.state, kind) not in STEPS:
        words = {"handed_over": "handed over"}.get(progress.state, progress.state)
        return f"{kind.replace('_', ' ').capitalize()} does not follow a sale that is {words}."
    return None


def _held_because(held: tuple[str, ...]) -> str:
    if ENDED in held:
        return "The sale is held because an animal of it is said to have died, or be lost or stolen"
    return "The sale is held because the record changed"


def advance(progress: Progress, step: Step) -> Progress:
    """The sale after ``step``; the step must be possible.

    Raises:
        ValueError: the step does not follow (a corrupt record, never bad input).
    """
    problem = refusal(progress, step.kind)
    if problem is not None:
        raise ValueError(problem)
    after = replace(progress, state=STEPS[progress.state, step.kind])
    if step.kind == "offer_made":
        return replace(after, offer=step.id, held=())
    if step.kind == "sale_held":
        return replace(after, held=(*progress.held, step.reason or "held"))
    if step.kind in {"offer_withdrawn", "offer_declined", "offer_lapsed"}:
        return replace(after, held=())
    return after


def fold(steps: Iterable[Step]) -> Progress:
    """The sale after all its steps, in log order."""
    progress = Progress()
    for step in steps:
        progress = advance(progress, step)
    return progress
