"""What counts and measures of the tail and the belly come to."""

from collections.abc import Mapping
from decimal import Decimal

from scalewitness.domain.observations import Observation, ScaleCount, TailLength
from scalewitness.domain.sexing.taxon_sources import Character


def measured(observed: Observation) -> Mapping[Character, Decimal]:
    """What was counted or measured of the tail and belly, by character."""
    if isinstance(observed, TailLength):
        tail, body = Decimal(observed.tail_mm), Decimal(observed.total_mm - observed.tail_mm)
        if body <= 0:
            return {}
        return {"tail_over_total": tail / (tail + body), "tail_over_body": tail / body}
    if not isinstance(observed, ScaleCount):
        return {}
    tail, belly = Decimal(observed.subcaudals), observed.ventrals
    if belly is None:
        return {"subcaudals": tail}
    return {
        "subcaudals": tail,
        "ventrals": Decimal(belly),
        "ventrals_less_subcaudals": belly - tail,
    }
