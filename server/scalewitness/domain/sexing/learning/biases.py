"""By how many scales an examiner counts deeper than others: where the base of the tail begins is
read differently by different people, and mostly alike by the same.

The mean difference from what is usual in the settled sex, drawn towards none. Checks further off
were misread, which is counted elsewhere.
"""

from collections.abc import Iterable, Sequence
from math import sqrt
from statistics import fmean

import numpy as np
from scipy.special import ndtri

from scalewitness.domain.sexing.examiners.beta import LEVEL
from scalewitness.domain.sexing.findings import bias_number
from scalewitness.domain.sexing.learning.depths import held_profiles, sides_of
from scalewitness.domain.sexing.learning.influence import influence
from scalewitness.domain.sexing.learning.numbers import Estimate, LearnedNumber, learned_number
from scalewitness.domain.sexing.learning.rules import rule
from scalewitness.domain.sexing.learning.settled import Look, basis
from scalewitness.domain.sexing.parameters import ParameterSet
from scalewitness.domain.sexing.taxa import Taxon


def learn_biases(
    looks: Sequence[Look], kinds: dict[str, Taxon], numbers: ParameterSet
) -> Iterable[LearnedNumber]:
    """Of everyone who counts half a scale or more off, where enough animals show it; ``kinds``
    are the species whose depths are known."""
    by_examiner: dict[str, list[tuple[Look, float]]] = {}
    for look in looks:
        sides = sides_of(look)
        if sides and look.of.species in kinds:
            off = fmean(sides) - _usual(look, kinds[look.of.species], numbers)
            if abs(off) <= rule("depth", "far"):
                by_examiner.setdefault(look.call.examiner, []).append((look, off))
    for examiner, own in sorted(by_examiner.items()):
        yield from _of_examiner(examiner, own)


def _usual(look: Look, kind: Taxon, numbers: ParameterSet) -> float:
    male, female = held_profiles(kind, numbers)
    return (male if look.sex == "male" else female).middle


def _of_examiner(examiner: str, own: Sequence[tuple[Look, float]]) -> Iterable[LearnedNumber]:
    looks, off = [look for look, _ in own], np.array([off for _, off in own])
    of = basis(looks)
    if of.males + of.females < rule("least", "bias.animals"):
        return
    if of.collections < rule("least", "bias.collections"):
        return
    before = rule("weight", "depth_bias")
    homes = [look.of.collection for look in looks]
    # Each check stands for itself: whose habit it is is what is asked.
    weights = influence(
        list(map(str, range(len(looks)))), homes, before, rule("most", "depth_bias"), 0
    )
    total = before + weights.sum()
    mean = float(weights @ off / total)
    spread = sqrt(float(weights @ (off - mean) ** 2 + before * mean**2) / total)
    half = float(ndtri((1 + LEVEL) / 2)) * spread / sqrt(total)
    value = round(2 * mean) / 2  # depths are read to the half scale
    if value and abs(mean) > half:
        yield learned_number(bias_number(examiner), Estimate(value, mean - half, mean + half), of)
