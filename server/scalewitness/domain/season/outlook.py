"""What the worker makes of a season, as it is kept: values that survive being stored as JSON."""

from msgspec import Struct

from scalewitness.domain.observations import Method
from scalewitness.domain.season.by_hand import SeasonWorth
from scalewitness.domain.season.values import Chosen, SeasonPlan

FORMAT = 1


class Change(Struct, frozen=True):
    """From the plan to another one: what it gives up, what it makes, and what it brings.
    ``gap``: by how much of its value a better plan for the drawn seasons may exceed it."""

    dropped: SeasonPlan
    added: SeasonPlan
    expected: float
    worst: float
    gap: float


class FallAhead(Struct, frozen=True):
    """What if an animal of the plan is of the other sex, which has this ``chance``: the season
    brings ``left`` if nothing is done, and ``after`` the best repair."""

    animal: str
    chance: float
    left: float
    after: float
    broken: SeasonPlan
    plan: SeasonPlan


class CheckAhead(Struct, frozen=True):
    """What the season gains, in young of weight 1, if a sex, or a claim at a ``locus``, is settled
    before pairing; ``net`` of what that takes in ``minutes``, money and welfare, in money.
    ``method`` and whose check it is (``by``: the owner's, a guest's, a laboratory's); ``times``:
    made so often, each time by another; ``certain``: what it would gain if it could not be
    wrong."""

    animal: str
    locus: str | None
    gains: float
    net: float
    minutes: float
    method: Method
    by: str
    times: int
    certain: float


class Broken(Struct, frozen=True):
    """What befell the plan: ``animals`` of which the sex or a claim changed, the pairings that
    rest on them no more, and what the season was expected to bring ``before``, None: that was never
    computed. ``position``: of the first fact that says so."""

    position: int
    animals: tuple[str, ...]
    pairs: SeasonPlan
    before: float | None


class OutlookBody(Struct, frozen=True):
    """All of it. ``unknown``: species of which no clutch size is known, so that nothing is
    expected. ``best`` only where it was asked for."""

    plan: SeasonPlan
    worth: SeasonWorth
    unknown: tuple[str, ...] = ()
    broken: Broken | None = None
    repair: Change | None = None
    best: Change | None = None
    alternatives: tuple[tuple[Chosen, float], ...] = ()
    falls: tuple[FallAhead, ...] = ()
    checks: tuple[CheckAhead, ...] = ()
    format: int = FORMAT
