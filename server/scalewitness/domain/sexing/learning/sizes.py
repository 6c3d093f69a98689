"""How many times the usual error checks of animals of one size have: misreadings seen to those
expected, drawn towards one (a rate with a gamma distribution before it)."""

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
from scipy.special import gammaincinv

from scalewitness.domain.sexing.examiners.beta import LEVEL
from scalewitness.domain.sexing.learning.influence import enough
from scalewitness.domain.sexing.learning.numbers import Estimate, LearnedNumber, learned_number
from scalewitness.domain.sexing.learning.rules import rule
from scalewitness.domain.sexing.learning.settled import Look, basis


def learn_sizes(
    by_name: Mapping[str, Sequence[tuple[Look, float, float]]],
) -> Iterable[LearnedNumber]:
    """Of every size that is misread otherwise than most, beyond chance. ``by_name``: its checks,
    each with the weight of misreadings seen and expected."""
    for name, own in sorted(by_name.items()):
        of = basis([look for look, _, _ in own])
        if enough(of.males + of.females, of.collections, of.examiners):
            found = _ratio(*(np.array([[seen, due] for _, seen, due in own]).sum(0).tolist()))
            if not found.low <= 1 <= found.high:
                yield learned_number(name, found, of)


def _ratio(seen: float, expected: float) -> Estimate:
    before, tail = rule("weight", "size"), (1 - LEVEL) / 2
    shape, rate = before + seen, before + expected
    low, high = (float(gammaincinv(shape, share)) / rate for share in (tail, 1 - tail))
    return Estimate(shape / rate, low, high)
