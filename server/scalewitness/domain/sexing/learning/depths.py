"""How deep a species probes, from settled animals.

Each sex's depths are taken as the model takes them: a normal distribution about a middle, some
that a misread animal of the other sex would have shown, some that mean nothing. Middle and spread
are fitted to that mixture (expectation and maximisation) and drawn towards what was held. They are
learned only if, for animals of collections that were left out, they give the settled sex a higher
log score than what was held, as one check of that depth enters a standing.
"""

from collections.abc import Hashable, Iterable, Sequence
from math import sqrt
from statistics import fmean
from typing import Final, NamedTuple

import numpy as np
from scipy.special import chdtri, expit, ndtri

from scalewitness.domain.observations import DEEPEST, Probing, Sex
from scalewitness.domain.sexing.examiners.beta import LEVEL
from scalewitness.domain.sexing.learning.influence import FloatArray, enough, influence
from scalewitness.domain.sexing.learning.numbers import (
    Estimate,
    LearnedNumber,
    learned_number,
    put_in,
)
from scalewitness.domain.sexing.learning.rules import rule
from scalewitness.domain.sexing.learning.settled import Basis, Look, basis, what_it_says
from scalewitness.domain.sexing.parameters import Parameters, ParameterSet
from scalewitness.domain.sexing.records import EMPTY, error_prior
from scalewitness.domain.sexing.sessions import Weigher
from scalewitness.domain.sexing.taxa import Taxon, as_learned, depth_number, taxon

_SEXES: Final[tuple[Sex, Sex]] = ("male", "female")
_BINS = np.arange(0, float(DEEPEST) + 0.25, 0.25)
"""Depths are read to the half scale; the mean of two passes may be between."""
_STEPS = 60
"""Of the fit; it stands after some twenty."""


class DepthProfile(NamedTuple):
    """Of one sex, in scales: middle, standard deviation, how many animals these rest on."""

    middle: float
    spread: float
    animals: float


def learn_depths(looks: Sequence[Look], parameters: Parameters) -> Iterable[LearnedNumber]:
    """The depths of every species of which enough settled animals were probed, and whose depths
    then tell the sexes better than before."""
    by_species: dict[str, list[Look]] = {}
    for look in looks:
        if sides_of(look):
            by_species.setdefault(look.of.species, []).append(look)
    for species, own in sorted(by_species.items()):
        yield from _of_species(taxon(species, parameters.version), own, parameters)


def sides_of(look: Look) -> list[float]:
    """How deep either side was, in scales, each by the mean of its passes that resistance ended;
    empty where there is none."""
    if not isinstance(look.call.observed, Probing):
        return []
    by_side: dict[str, list[float]] = {}
    for run in look.call.observed.passes:
        if run.stopped == "resistance":
            by_side.setdefault(run.side, []).append(float(run.scales))
    return [fmean(depths) for depths in by_side.values()]


def _of_species(
    kind: Taxon, looks: Sequence[Look], parameters: Parameters
) -> tuple[LearnedNumber, ...]:
    of = basis(looks)
    if not enough(min(of.males, of.females), of.collections, of.examiners):
        return ()
    held = held_profiles(kind, parameters.base)
    weights = _weights(looks, held[0].animals)
    fold = _folds(looks)
    counted = [_counted(looks, weights * (fold == n)) for n in range(fold.max() + 1)]
    whole = np.sum(counted, axis=0)
    gain = 0.0
    for n, left_out in enumerate(counted):
        candidate = _numbers(kind, whole - left_out, parameters, of)
        own = [look for look, place in zip(looks, fold, strict=True) if place == n]
        after = log_score(kind, own, put_in(parameters, candidate))
        before = log_score(kind, own, parameters)
        gain += float(weights[fold == n] @ (after - before))
    return _numbers(kind, whole, parameters, of) if gain > 0 else ()


def _folds(looks: Sequence[Look]) -> np.ndarray:
    homes = {home: n for n, home in enumerate(sorted({look.of.collection for look in looks}))}
    return np.array([homes[look.of.collection] % int(rule("depth", "folds")) for look in looks])


def log_score(kind: Taxon, looks: Sequence[Look], parameters: Parameters) -> FloatArray:
    """For each check the log of the chance that it alone gives the settled sex, all errors in it
    as they enter a standing."""
    numbers = parameters.base
    weigher = Weigher(as_learned(kind, numbers), EMPTY, parameters, numbers)
    known: dict[Hashable, float] = {}
    for_male = []
    for look in looks:
        alike = what_it_says(look)
        if alike not in known:
            known[alike] = _alone(weigher, look)
        for_male.append(known[alike])
    signs = [1 if look.sex == "male" else -1 for look in looks]
    return np.asarray(np.log(expit(np.array(for_male) * signs)))


def _alone(weigher: Weigher, look: Look) -> float:
    weighed = weigher.weigh(look.call)
    return weigher.session((weighed,)).log_ratio if weighed.reading.informative else 0.0


# --- the fit ------------------------------------------------------------------------------


def held_profiles(kind: Taxon, numbers: ParameterSet) -> tuple[DepthProfile, DepthProfile]:
    """Males' and females' as they are held now; of snakes in general where nothing is."""
    if kind.male_range is None or kind.female_range is None:
        kind = taxon("serpentes", kind.version)
    weight = rule("weight", "depth.published" if kind.ground == "published" else "depth.borrowed")

    def of(sex: Sex) -> DepthProfile:
        low, high = map(float, kind.depths(sex) or (0, 0))
        spread = (high - low) * numbers.value("depth.sd_share")
        return DepthProfile((low + high) / 2, max(spread, numbers.value("depth.sd_least")), weight)

    return of("male"), of("female")


def fit_profiles(
    counted: FloatArray,
    held: tuple[DepthProfile, DepthProfile],
    misread: tuple[float, float],
    outlier: float,
    least: float,
) -> tuple[DepthProfile, DepthProfile]:
    """Both sexes' depths from the weight of animals at each depth (sex × depth). ``misread`` are
    the shares of males, and of females, that show the other's depth, ``outlier`` of those whose
    depth means nothing; ``least`` the smallest spread."""
    found = [_middling(own, was, least) for own, was in zip(counted, held, strict=True)]
    for _ in range(_STEPS):
        density = [_normal(one) for one in found]
        found = [
            _drawn(
                counted[n]
                * _share(density[n], density[1 - n] * misread[n], misread[n] + outlier, outlier),
                held[n],
                least,
            )
            for n in (0, 1)
        ]
    return found[0], found[1]


def _share(own: FloatArray, other: FloatArray, elsewhere: float, outlier: float) -> FloatArray:
    """At each depth the share of what is there that is this sex's own."""
    proper = (1 - elsewhere) * own
    return np.asarray(proper / (proper + other + outlier / float(DEEPEST)))


def _drawn(counted: FloatArray, held: DepthProfile, least: float) -> DepthProfile:
    """Weighted depths together with what was held."""
    animals = held.animals + counted.sum()
    middle = (held.animals * held.middle + counted @ _BINS) / animals
    squares = held.animals * held.spread**2 + counted @ (_BINS - middle) ** 2
    spread = min(max(sqrt(squares / animals), least), middle / 2)  # no depth is below nought
    return DepthProfile(float(middle), float(spread), float(animals))


def _middling(counted: FloatArray, held: DepthProfile, least: float) -> DepthProfile:
    """Where to begin: the median, which a few misread animals do not move."""
    if not counted.any():
        return held
    middle = _BINS[np.searchsorted(counted.cumsum(), counted.sum() / 2)]
    return DepthProfile(float(middle), max(held.spread, least), held.animals)


def _normal(of: DepthProfile) -> FloatArray:
    return np.asarray(
        np.exp(-(((_BINS - of.middle) / of.spread) ** 2) / 2) / (of.spread * sqrt(2 * np.pi))
    )


def _weights(looks: Sequence[Look], before: float) -> FloatArray:
    """Males and females apart, since each has a profile of its own."""
    weights = np.zeros(len(looks))
    for sex in _SEXES:
        own = [n for n, look in enumerate(looks) if look.sex == sex]
        weights[own] = influence(
            [looks[n].call.examiner for n in own],
            [looks[n].of.collection for n in own],
            before,
            rule("most", "depth"),
            rule("alike", "depth"),
        )
    return weights


def _counted(looks: Sequence[Look], weights: FloatArray) -> FloatArray:
    """The weight at each depth, by sex; the sides of one check share its own."""
    counted = np.zeros((2, _BINS.size))
    for look, weight in zip(looks, weights, strict=True):
        if weight:
            sides = sides_of(look)
            for depth in sides:
                place = min(round(depth * 4), _BINS.size - 1)
                counted[_SEXES.index(look.sex), place] += weight / len(sides)
    return counted


def _numbers(
    kind: Taxon, counted: FloatArray, parameters: Parameters, of: Basis
) -> tuple[LearnedNumber, ...]:
    numbers = parameters.base
    rates = [error_prior(numbers, "keeper", "probing", sex) for sex in _SEXES]
    misread = tuple(
        a / (a + b) + numbers.value(f"mislead.probing.{sex}")
        for (a, b), sex in zip(rates, _SEXES, strict=True)
    )
    found = fit_profiles(
        counted,
        held_profiles(kind, numbers),
        (misread[0], misread[1]),
        numbers.value("depth.outlier"),
        numbers.value("depth.sd_least"),
    )
    both = tuple(zip(_SEXES, found, strict=True))
    return (
        *(learned_number(depth_number(kind.key, sex, "middle"), _middle(p), of) for sex, p in both),
        *(learned_number(depth_number(kind.key, sex, "spread"), _spread(p), of) for sex, p in both),
    )


def _middle(of: DepthProfile) -> Estimate:
    half = float(ndtri((1 + LEVEL) / 2)) * of.spread / sqrt(of.animals)
    return Estimate(of.middle, of.middle - half, of.middle + half)


def _spread(of: DepthProfile) -> Estimate:
    """The interval of a normal distribution's standard deviation."""
    tail = (1 - LEVEL) / 2
    low, high = (of.spread * sqrt(of.animals / chdtri(of.animals, p)) for p in (tail, 1 - tail))
    return Estimate(of.spread, low, high)
