"""Several starts compared: the likelihood of the pooled model has more than one maximum.

Dawid and Skene's own published solution is one of many, and not the highest. A solution
can also be another one with the classes' names exchanged; the names are put back by what
the examiners called the animals.

With two classes the starts must not favour one. Where answers are evenly split the averaged
start lies on a saddle between two maxima that mirror each other: exact steps would stay on
it, and rounding alone would choose a side. So every other start comes with its mirror, the
averaged one is also tried with a nudge to either side, and itself counts only where both
nudged ones end where it does. Maxima that tie are all handed back: nothing in the answers
chooses between them.
"""

from collections.abc import Iterable, Iterator, Sequence
from itertools import permutations

import numpy as np
import numpy.typing as npt
from msgspec import Struct
from msgspec.structs import replace

from scalewitness.domain.sexing.examiners.labels import UNKNOWN, Labels
from scalewitness.domain.sexing.examiners.latent import Coins
from scalewitness.domain.sexing.examiners.pool import PoolFit, averaged, fit, majority

FloatArray = npt.NDArray[np.float64]

SAME = 1e-4
"""Objectives (natural logarithms) no further apart are equally high."""
ALIKE = 0.01
"""Fits are one when no animal's chances are further apart: far more than where a climb
stops leaves open, far less than what another maximum moves."""
_NUDGE = 1e-3
"""The share of a nudged start that is drawn: enough for the climb to leave a saddle before
its steps count as still, too little to reach another maximum than the one beside it."""
_EVEN_NAMES = 1e-6
"""Orders of the classes whose agreement differs by no larger share agree equally well."""


class Comparison(Struct, frozen=True, eq=False):
    """Fits from several starts. ``averaged`` is Dawid and Skene's start; ``tied`` are the
    different fits that share the highest objective, that of the averaged start first where
    it is one; ``heights`` are the objectives reached by the starts that count, in their
    order."""

    averaged: PoolFit
    tied: tuple[PoolFit, ...]
    heights: tuple[float, ...]

    @property
    def best(self) -> PoolFit:
        """The highest fit; only one of several where the answer is undetermined."""
        return self.tied[0]

    @property
    def undetermined(self) -> bool:
        """Do different answers fit equally well?"""
        return len(self.tied) > 1

    @property
    def differ(self) -> bool:
        """Did the starts end at different maxima?"""
        return self.undetermined or max(self.heights) - min(self.heights) > SAME

    @property
    def outdone(self) -> bool:
        """Did another start end higher than the averaged one, or that one on a saddle?"""
        return self.best is not self.averaged


def compare(
    labels: Labels,
    generator: np.random.Generator,
    random_starts: int = 8,
    *,
    coins: Coins = "two",
    pseudo: FloatArray | float = 0.0,
) -> Comparison:
    """Fits from the averaged start, from the majority and from random ones; with two
    classes half of the random ones mirror the other half. Pseudo-counts and settled animals
    name the classes by themselves; without them the names are put back."""
    starts = [averaged(labels), *_others(labels, generator, random_starts)]
    fits = [fit(labels, start, coins=coins, pseudo=pseudo) for start in starts]
    steady = labels.classes != 2 or all(_alike(fits[0], nudged) for nudged in fits[1:3])
    names = _as_named if _has_names(labels, pseudo) else namings
    every = [names(labels, found) for found in fits]
    counting = every if steady else every[1:]
    return Comparison(
        averaged=every[0][0],
        tied=_highest([one for orders in counting for one in orders]),
        heights=tuple(orders[0].objective for orders in counting),
    )


def _others(labels: Labels, generator: np.random.Generator, number: int) -> Iterator[FloatArray]:
    """All starts but the averaged one; with two classes its nudged ones come first."""
    if labels.classes != 2:
        yield majority(labels)
        yield from (random_start(labels, generator) for _ in range(number))
        return
    for near in (averaged(labels), majority(labels)):
        yield from _pair(near, _drawn(labels, generator), _NUDGE)
    for _ in range(number // 2):
        yield from _pair(averaged(labels), _drawn(labels, generator), generator.random())


def _pair(near: FloatArray, drawn: FloatArray, part: float) -> Iterator[FloatArray]:
    """A start drawn away from another, and the same the other way: what the mirrored answers
    get from the same draw is the mirror of this pair."""
    for one in (drawn, drawn[:, ::-1]):
        yield (1 - part) * near + part * one


def random_start(labels: Labels, generator: np.random.Generator) -> FloatArray:
    """The averaged start with anything from none to all of it replaced by classes drawn
    evenly from all shares there are."""
    drawn, part = _drawn(labels, generator), generator.random()
    return np.asarray((1 - part) * averaged(labels) + part * drawn)


def _drawn(labels: Labels, generator: np.random.Generator) -> FloatArray:
    return generator.dirichlet(np.ones(labels.classes), labels.animals)


def _highest(fits: Sequence[PoolFit]) -> tuple[PoolFit, ...]:
    top = max(one.objective for one in fits)
    return _different(one for one in fits if one.objective >= top - SAME)


def _different(fits: Iterable[PoolFit]) -> tuple[PoolFit, ...]:
    found = list[PoolFit]()
    for one in fits:
        if not any(_alike(one, other) for other in found):
            found.append(one)
    return tuple(found)


def _alike(one: PoolFit, other: PoolFit) -> bool:
    return float(np.abs(one.posterior - other.posterior).max()) <= ALIKE


# --- names ------------------------------------------------------------------------------


def named(labels: Labels, found: PoolFit) -> PoolFit:
    """The same fit with its classes in the order that agrees best with what the examiners
    called the animals, the first of equals."""
    return namings(labels, found)[0]


def namings(labels: Labels, found: PoolFit) -> list[PoolFit]:
    """The same fit in every order of its classes that agrees best with what the examiners
    called the animals."""
    agreed = (found.posterior * labels.times[:, None]).T @ labels.votes
    names = np.arange(labels.classes)
    orders = [list(order) for order in permutations(range(labels.classes))]
    agreement = [float(agreed[order, names].sum()) for order in orders]
    least = max(agreement) - _EVEN_NAMES * float(agreed.sum())
    return [
        _ordered(found, order)
        for order, agrees in zip(orders, agreement, strict=True)
        if agrees >= least
    ]


def _as_named(_: Labels, found: PoolFit) -> list[PoolFit]:
    return [found]


def _has_names(labels: Labels, pseudo: FloatArray | float) -> bool:
    return bool(np.any(pseudo)) or bool((labels.known != UNKNOWN).any())


def _ordered(found: PoolFit, order: list[int]) -> PoolFit:
    return replace(
        found,
        prevalence=found.prevalence[order],
        tables=found.tables[:, order],
        posterior=found.posterior[:, order],
    )
