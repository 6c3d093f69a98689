"""Whether young may be of an animal that died before they hatched or were born."""

from datetime import date, timedelta
from typing import Literal

Role = Literal["sire", "dam"]

TO_HATCH = timedelta(days=200)
"""From the eggs to the young: the longest incubation with time to spare (our judgement)."""
SPERM_KEPT = timedelta(days=6 * 366)
"""A female kept sperm for six years (Levine et al. 2021, PLoS ONE 16:e0252049)."""


def died_too_early(role: Role, died: date, hatched: date) -> bool:
    """Whether it had died long before the young could be its own: a dam, before the eggs; a sire,
    before the mating whose sperm a dam may have kept."""
    after = TO_HATCH if role == "dam" else SPERM_KEPT + TO_HATCH
    return hatched - died > after
