"""Several starts compared: the likelihood of the pooled model has more than one maximum.

Dawid and Skene's own published solution is one of many, and not the highest. A solution
can also be another one with the classes' names exchanged; the names are put back by what
the examiners called the animals.
"""

from itertools import permutations

import numpy as np
import numpy.typing as npt
from msgspec import Struct
from msgspec.structs import replace

from scalewitness.domain.sexing.examiners.labels import Labels
from scalewitness.domain.sexing.examiners.latent import Coins
from scalewitness.domain.sexing.examiners.pool import Fit, averaged, fit, majority

FloatArray = npt.NDArray[np.float64]

SAME = 1e-4
"""Objectives (natural logarithms) no further apart are one maximum."""


class Comparison(Struct, frozen=True, eq=False):
    """Fits from several starts. ``averaged`` is Dawid and Skene's start, ``best`` the fit
    with the highest objective (``averaged`` itself unless another is truly higher);
    ``heights`` are the objectives reached, in the order of the starts."""

    averaged: Fit
    best: Fit
    heights: tuple[float, ...]

    @property
    def differ(self) -> bool:
        """Did the starts end at different maxima?"""
        return max(self.heights) - min(self.heights) > SAME

    @property
    def outdone(self) -> bool:
        """Did another start end higher than the averaged one?"""
        return self.best is not self.averaged


def compare(
    labels: Labels,
    generator: np.random.Generator,
    random_starts: int = 8,
    *,
    coins: Coins = "two",
    pseudo: FloatArray | float = 0.0,
) -> Comparison:
    """Fits from the averaged start, from the majority and from random ones. Pseudo-counts
    name the classes by themselves; without them the names are put back."""
    starts = [averaged(labels), majority(labels)]
    starts += [random_start(labels, generator) for _ in range(random_starts)]
    fits = [fit(labels, start, coins=coins, pseudo=pseudo) for start in starts]
    if not np.any(pseudo):
        fits = [named(labels, found) for found in fits]
    highest = max(fits, key=lambda one: one.objective)
    best = highest if highest.objective > fits[0].objective + SAME else fits[0]
    return Comparison(fits[0], best, tuple(one.objective for one in fits))


def random_start(labels: Labels, generator: np.random.Generator) -> FloatArray:
    """The averaged start with anything from none to all of it replaced by classes drawn
    evenly from all shares there are."""
    drawn = generator.dirichlet(np.ones(labels.classes), labels.animals)
    part = generator.random()
    return np.asarray((1 - part) * averaged(labels) + part * drawn)


def named(labels: Labels, found: Fit) -> Fit:
    """The same fit with its classes in the order that agrees best with what the examiners
    called the animals."""
    agreed = (found.posterior * labels.times[:, None]).T @ labels.votes
    names = np.arange(labels.classes)
    orders = [list(order) for order in permutations(range(labels.classes))]
    order = max(orders, key=lambda one: float(agreed[one, names].sum()))
    return replace(
        found,
        prevalence=found.prevalence[order],
        tables=found.tables[:, order],
        posterior=found.posterior[:, order],
    )
