"""What is said wherever a check is planned, logged or relied on.

Nothing here replaces an experienced hand. Lubricating, and the largest blunt probe that
fits: Barker & Barker, "Determining the sex of snakes". The rest is common practice, no
source.
"""

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Final, NamedTuple, Protocol

from scalewitness.domain.fact_words import ENDED
from scalewitness.domain.habits import weight_in_words
from scalewitness.domain.methods import METHODS

STOP_AT_HARM: Final = "Bleeding, swelling or prolapse: stop, and see a veterinarian for reptiles."
BEFORE_A_CHECK: Final = (
    "Never push. Let the probe glide and stop at resistance.",
    "Lubricate, and choose the probe for the size of the animal; too thin a probe misleads "
    "and pierces.",
    "Probe both sides and note each by itself.",
    "Not soon after a meal, in shed, when gravid, ill or too small.",
    "Have a second person hold a large or tense animal.",
    "Clean and disinfect hands and instruments between animals.",
    STOP_AT_HARM,
    "Unsure or unsteady: leave it to an experienced keeper or a veterinarian.",
    "Local wildlife, welfare and consumer law come before anything said here.",
)
"""For whoever is about to examine an animal."""

COMPARE_ITS_CODE: Final = (
    "Read its transponder, and compare it with what is written here, before you pay. A tag stays "
    "with the tub."
)
BEFORE_A_PURCHASE: Final = (
    "A sex on record is a probability with reasons, never a certainty.",
    "Use the agreed days for a recheck by someone independent: an experienced keeper or a "
    "veterinarian for reptiles.",
    "Do not probe or pop a snake yourself if you have not learnt it from someone who can.",
    COMPARE_ITS_CODE,
    "Local wildlife, welfare and consumer law come before anything agreed here.",
)
"""For whoever is about to rely on a recorded sex."""

AFTER_A_DISCLOSURE: Final = (
    "Have the animal rechecked by someone independent: an experienced keeper or a "
    "veterinarian for reptiles.",
    "Have its transponder read first, so that it is certain which animal was checked.",
    "Tell the seller what the check showed; the remedy you agreed on is stated here.",
    "If you have passed the animal on, tell whoever holds it now.",
)
"""For whoever relied on a verified sex that no longer stands."""

AFTER_A_MEAL: Final = timedelta(hours=72)
"""No handling for 48 to 72 hours after a meal (a popular page; common practice)."""
WEIGHT_AGES: Final = timedelta(days=60)
"""An older weight says little of a growing snake (our judgement)."""

SMALL_GRAMS: Final = 100
"""Nobody has published a smallest weight for probing; below this we speak up (our judgement)."""

YOLK_DAYS: Final = timedelta(days=2)
FIRST_SHED_DAYS: Final = timedelta(days=14)
"""From hatching or birth on: the yolk is taken up within a day or two, and the first shed mostly
comes within two weeks (common practice, no source)."""
YOLK: Final = (
    "The yolk may not be taken up yet: leave them in peace until each belly is flat and the navel "
    "is closed."
)
FIRST_SHED: Final = (
    "Better wait until each has shed for the first time, mostly one to two weeks after hatching or "
    "birth: before that the skin tears easily."
)

HOLD_OFF: Final = "The keeper asks everyone to leave this animal alone for now."
FED_AS_REPORTED: Final = {
    "under_48": "Fed less than 48 hours ago: wait.",
    "under_72": "Fed 48 to 72 hours ago: better wait a day.",
}
FED: Final = "It was fed less than 72 hours ago: wait."
OPAQUE: Final = "It is in shed (opaque): wait until it has shed."
NO_WEIGHT: Final = "No weight is noted: look at its size before you choose a probe, or let it be."
SMALL: Final = "It is small ({weight}): leave it if the smallest probe would need any force."
OLD_WEIGHT: Final = "Its last weight is more than 60 days old."
ALONE: Final = "Nobody else holds it: have a second person for a large or tense animal."
HELD_ALONE: Final = ("examiner", "not_held")

_HEALTH: Final = {
    "gravid": "It was last noted as gravid: leave it alone.",
    "ill": "It was last noted as ill: leave it alone.",
    "injured": "It was last noted as injured: leave it alone.",
    "under_treatment": "It is under treatment: leave it alone.",
}


HOLDS_OFF: Final = frozenset(_HEALTH)
"""Signs that hold an animal off by themselves, until its keeper notes another one. All of them are
one and the same to whoever does not keep it, so that none tells which of them it is."""


def of_hatchlings(hatched: date, today: date) -> Iterable[str]:
    """What speaks against checking young that hatched or were born on that day."""
    if today - hatched <= YOLK_DAYS:
        yield YOLK
    if today - hatched <= FIRST_SHED_DAYS:
        yield FIRST_SHED


def is_held_off(*, asked: bool, health: str | None) -> bool:
    """Whether everyone else is to leave the animal alone: its keeper ``asked`` for it, or noted
    something of its ``health`` that says so."""
    return asked or health in HOLDS_OFF


class Cautioned(Protocol):
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


class AtTheRack(NamedTuple):
    """What the examiner says of the animal at the rack, newer than what is on record: its last
    meal as a time or as one of ``choices.MEALS``, and who holds it for a check by ``method``."""

    grams: Decimal | None = None
    fed_at: datetime | None = None
    meal: str | None = None
    shed: str | None = None
    held_by: str | None = None
    method: str | None = None
    harm: bool = False


NOTHING_NOTED_YET: Final = AtTheRack()


def reasons_to_wait(
    condition: Cautioned,
    *,
    hold_off: bool,
    now: datetime,
    steward: bool,
    at_rack: AtTheRack = NOTHING_NOTED_YET,
    ended: str = "",
) -> Iterable[str]:
    """What speaks against checking this animal now, the weightiest first. What its health is, is
    for stewards only: that an animal is gravid would tell a blind guest its sex. Others read
    that it is to be left alone, and not why. ``ended``: why it is no longer there, as its
    keeper says.

    The phone works offline and has the same rules in ``clients/rackside/pure/cautions.js``.
    """
    if ended:
        yield ENDED[ended]
    if is_held_off(asked=hold_off, health=None if steward else condition.health):
        yield HOLD_OFF
    if at_rack.harm:
        yield STOP_AT_HARM
    if steward and condition.health in _HEALTH:
        yield _HEALTH[condition.health]
    yield from _meal(condition.fed_at, at_rack, now)
    if (at_rack.shed or condition.shed) == "opaque":
        yield OPAQUE
    yield from _size(condition, at_rack.grams, now)
    held = METHODS.get(at_rack.method or "")
    if at_rack.held_by in HELD_ALONE and held is not None and held.hands_on:
        yield ALONE


def _meal(noted: datetime | None, at_rack: AtTheRack, now: datetime) -> Iterable[str]:
    if at_rack.meal is not None:
        if at_rack.meal in FED_AS_REPORTED:
            yield FED_AS_REPORTED[at_rack.meal]
        return
    known = [one for one in (noted, at_rack.fed_at) if one is not None]
    if known and now - max(known) < AFTER_A_MEAL:
        yield FED


def _size(condition: Cautioned, weighed: Decimal | None, now: datetime) -> Iterable[str]:
    grams = condition.grams if weighed is None else weighed
    if grams is None:
        yield NO_WEIGHT
    elif grams < SMALL_GRAMS:
        yield SMALL.format(weight=weight_in_words(grams))
    elif weighed is None and condition.weighed_at and now - condition.weighed_at > WEIGHT_AGES:
        yield OLD_WEIGHT
