"""Does an examiner call one sex too often? Hatchlings against 1:1.

Each clutch is a sample: its share of males may differ from the next one's by more than
chance, through the parents, the incubation or the examiner's day. So 1:1 is tested twice,
as if all eggs were alike and with clutches that vary, and the less excited answer stands.
"""

from collections.abc import Sequence
from typing import Final

from msgspec import Struct

from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.examiners.beta import LEVEL
from scalewitness.domain.sexing.examiners.binomial import (
    Interval,
    clopper_pearson,
    two_sided,
    wilson,
)
from scalewitness.domain.sexing.examiners.goodness import heterogeneity
from scalewitness.domain.sexing.examiners.overdispersion import (
    ClutchCounts,
    against_mean,
    clutches,
    most_likely,
    overdispersed,
)
from scalewitness.domain.sexing.tables import table

EVEN: Final = float(table("examiners.toml")["drift.even"]["value"])
"""Males among hatchlings. Some species differ; pass their own share for those."""
WARN_BELOW: Final = float(table("examiners.toml")["drift.warn_below"]["value"])
"""p-value under which drift is named."""


class Hatchlings(Struct, frozen=True):
    """One clutch as one examiner sexed it; what stayed undetermined is left out."""

    males: int
    females: int


class Drift(Struct, frozen=True):
    """Males among the hatchlings an examiner sexed, and whether that is too many or few.

    ``exact`` and ``wilson`` are intervals of the share of males. ``p_exact`` takes all
    eggs as independent, ``p_overdispersed`` lets clutches vary with intraclass correlation
    ``rho`` (maximum likelihood); ``p`` is the larger. ``p_varying`` says how surprising the
    spread between clutches is (Tarone's Z), ``p_differing`` whether they differ at all
    (chi-squared); both are None for a single clutch. ``towards`` is None without drift.
    """

    males: int
    sexed: int
    clutches: int
    share: float
    exact: Interval
    wilson: Interval
    rho: float
    p_exact: float
    p_overdispersed: float | None
    p_varying: float | None
    p_differing: float | None
    p: float
    towards: Sex | None


def drift(
    hatchlings: Sequence[Hatchlings], expected: float = EVEN, level: float = LEVEL
) -> Drift | None:
    """The examiner's drift against the ``expected`` share of males; None when nothing was
    sexed."""
    sexed = [clutch for clutch in hatchlings if clutch.males + clutch.females]
    if not sexed:
        return None
    eggs = [clutch.males + clutch.females for clutch in sexed]
    males, total = sum(clutch.males for clutch in sexed), sum(eggs)
    p_exact = two_sided(males, total, expected)
    pooled = clutches([clutch.males for clutch in sexed], eggs)
    varying, differing, p_overdispersed = _between(sexed, pooled, expected)
    p = max(p_exact, p_overdispersed or 0.0)
    return Drift(
        males=males,
        sexed=total,
        clutches=len(sexed),
        share=males / total,
        exact=clopper_pearson(males, total, level),
        wilson=wilson(males, total, level),
        rho=most_likely(pooled).rho if len(sexed) > 1 else 0.0,
        p_exact=p_exact,
        p_overdispersed=p_overdispersed,
        p_varying=varying,
        p_differing=differing,
        p=p,
        towards=_towards(males / total, expected) if p < WARN_BELOW else None,
    )


def _between(
    sexed: Sequence[Hatchlings], pooled: ClutchCounts, expected: float
) -> tuple[float | None, float | None, float | None]:
    if len(sexed) < 2:
        return None, None, None
    differing = heterogeneity([(clutch.males, clutch.females) for clutch in sexed])
    return overdispersed(pooled), differing.p_chi2, against_mean(pooled, expected)


def _towards(share: float, expected: float) -> Sex:
    return "male" if share > expected else "female"
