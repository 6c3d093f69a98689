"""What is said wherever a check is planned, logged or relied on.

Nothing here replaces an experienced hand. Lubricating, and the largest blunt probe that
fits: Barker & Barker, "Determining the sex of snakes". The rest is common practice, no
source.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Final, Protocol

BEFORE_A_CHECK: Final = (
    "Never push. Let the probe glide and stop at resistance.",
    "Lubricate, and choose the probe for the size of the animal; too thin a probe misleads "
    "and pierces.",
    "Probe both sides and note each by itself.",
    "Not soon after a meal, in shed, when gravid, ill or too small.",
    "Have a second person hold a large or tense animal.",
    "Clean and disinfect hands and instruments between animals.",
    "Bleeding, swelling or prolapse: stop, and see a veterinarian for reptiles.",
    "Unsure or unsteady: leave it to an experienced keeper or a veterinarian.",
    "Local wildlife, welfare and consumer law come before anything said here.",
)
"""For whoever is about to examine an animal."""

BEFORE_A_PURCHASE: Final = (
    "A sex on record is a probability with reasons, never a certainty.",
    "Use the agreed days for a recheck by someone independent: an experienced keeper or a "
    "veterinarian for reptiles.",
    "Do not probe or pop a snake yourself if you have not learnt it from someone who can.",
    "Compare the transponder or tag with what is written here before you pay.",
    "Local wildlife, welfare and consumer law come before anything agreed here.",
)
"""For whoever is about to rely on a recorded sex."""

AFTER_A_DISCLOSURE: Final = (
    "Have the animal rechecked by someone independent: an experienced keeper or a "
    "veterinarian for reptiles.",
    "Read its transponder or tag first, so that it is certain which animal was checked.",
    "Tell the seller what the check showed; the remedy you agreed on is stated here.",
    "If you have passed the animal on, tell whoever holds it now.",
)
"""For whoever relied on a verified sex that no longer stands."""

AFTER_A_MEAL: Final = timedelta(hours=72)
"""No handling for 48 to 72 hours after a meal (a popular page; common practice)."""
WEIGHT_AGES: Final = timedelta(days=60)
"""An older weight says little of a growing snake (our judgement)."""

_HEALTH: Final = {
    "gravid": "It was last noted as gravid: leave it alone.",
    "ill": "It was last noted as ill: leave it alone.",
    "injured": "It was last noted as injured: leave it alone.",
    "under_treatment": "It is under treatment: leave it alone.",
}


class Condition(Protocol):
    """What is known of an animal before a check."""

    @property
    def grams(self) -> Decimal | None: ...
    @property
    def weighed_at(self) -> datetime | None: ...
    @property
    def fed_at(self) -> datetime | None: ...
    @property
    def shed(self) -> str | None: ...
    @property
    def health(self) -> str | None: ...


def reasons_to_wait(
    condition: Condition, *, hold_off: bool, now: datetime, steward: bool
) -> Iterable[str]:
    """What speaks against checking this animal now, the weightiest first. Health is for
    stewards only: that an animal is gravid would tell a blind guest its sex; the keeper's
    hold-off notice speaks instead."""
    if hold_off:
        yield "The keeper asks everyone to leave this animal alone for now."
    if steward and condition.health in _HEALTH:
        yield _HEALTH[condition.health]
    if condition.fed_at is not None and now - condition.fed_at < AFTER_A_MEAL:
        yield "It was fed less than 72 hours ago: wait."
    if condition.shed == "opaque":
        yield "It is in shed (opaque): wait until it has shed."
    if condition.grams is None:
        yield "No weight is noted: look at its size before you choose a probe, or let it be."
    elif condition.weighed_at is not None and now - condition.weighed_at > WEIGHT_AGES:
        yield "Its last weight is more than 60 days old."
