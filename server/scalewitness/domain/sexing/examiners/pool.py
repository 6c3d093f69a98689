"""Error rates without settled truth: Dawid and Skene's model, by maximum likelihood.

Every animal is of one unknown class; given it, every answer is drawn independently from
that examiner's own table (Dawid and Skene 1979, Applied Statistics 28). What comes out is
provisional: examiners who are wrong together look right, and the likelihood has several
maxima (see :mod:`starts`).
"""

from collections.abc import Callable
from math import log
from typing import Literal

import numpy as np
import numpy.typing as npt
from msgspec import Struct
from scipy.sparse import csc_array
from scipy.special import xlogy

from scalewitness.domain.sexing.examiners.climb import MOST_STEPS, STILL, climb
from scalewitness.domain.sexing.examiners.labels import UNKNOWN, Labels

FloatArray = npt.NDArray[np.float64]
Coins = Literal["two", "one"]
"""A table of its own for every examiner and class, or one accuracy for every examiner."""

_TINY = 1e-300
"""What a chance of nought counts as inside a logarithm."""
_INSIDE = 1e-12
"""A leap that would leave [0, 1] stops this far from the edge."""


class Fit(Struct, frozen=True, eq=False):
    """A maximum of the likelihood.

    ``prevalence[class]``; ``tables[examiner, class, answer]``; ``posterior[animal, class]``.
    ``log_likelihood`` includes no prior; ``objective`` is what was climbed, the pseudo-counts
    with it; ``heights`` is its course. ``parameters`` counts the free ones.
    """

    prevalence: FloatArray
    tables: FloatArray
    posterior: FloatArray
    log_likelihood: float
    objective: float
    heights: tuple[float, ...]
    steps: int
    converged: bool
    parameters: int
    animals: float

    @property
    def aic(self) -> float:
        return 2 * self.parameters - 2 * self.log_likelihood

    @property
    def bic(self) -> float:
        return log(self.animals) * self.parameters - 2 * self.log_likelihood

    @property
    def most_likely(self) -> npt.NDArray[np.int64]:
        """The class of each animal with the highest posterior, the first of equals."""
        return np.asarray(self.posterior.argmax(1))


def averaged(labels: Labels) -> FloatArray:
    """The start of Dawid and Skene: each animal's classes in the shares they were named."""
    return _shares(labels.votes)


def majority(labels: Labels) -> FloatArray:
    """The class named most often, ties shared evenly."""
    votes = labels.votes
    return _shares((votes == votes.max(1, keepdims=True)).astype(np.float64))


def fit(
    labels: Labels,
    start: FloatArray | None = None,
    *,
    coins: Coins = "two",
    pseudo: FloatArray | float = 0.0,
    leaps: bool = True,
    still: float = STILL,
    most: int = MOST_STEPS,
) -> Fit:
    """The maximum that EM reaches from ``start`` (animals × classes; averaged by default).

    ``pseudo`` are answers added to every table, class × answer or examiner × class × answer.
    It ends when no parameter moves by more than ``still`` in one step and the likelihood
    stands (:mod:`climb`). Raises ValueError where one coin meets an answer that names no
    class.
    """
    model = Model(labels, coins, pseudo)
    first = averaged(labels) if start is None else start
    ended = climb(
        model.step,
        model.maximised(first),
        inside=model.inside if leaps else None,
        still=still,
        most=most,
    )
    posterior, log_likelihood = model.posterior(ended.parameters)
    prevalence, tables = model.split(ended.parameters)
    return Fit(
        prevalence=prevalence,
        tables=model.by_examiner(tables).transpose(0, 2, 1),
        posterior=posterior,
        log_likelihood=log_likelihood,
        objective=log_likelihood + model.prior_height(tables),
        heights=ended.heights,
        steps=ended.steps,
        converged=ended.converged,
        parameters=model.free,
        animals=float(labels.times.sum()),
    )


class Model:
    """EM steps for one set of labels. Parameters are one flat array: the prevalence, then
    for every examiner and answer its chance in each class."""

    def __init__(self, labels: Labels, coins: Coins = "two", pseudo: FloatArray | float = 0.0):
        if coins == "one" and labels.answers != labels.classes:
            raise ValueError("one coin has no side for an answer that names no class")
        self._labels, self._one_coin = labels, coins == "one"
        self._given, self._back = labels.given, csc_array(labels.given.T)
        extra = np.broadcast_to(
            np.asarray(pseudo, np.float64), (labels.examiners, labels.classes, labels.answers)
        )
        self._pseudo = extra.transpose(0, 2, 1).reshape(-1, labels.classes)
        self._totals = np.asarray(self._back @ labels.times)
        self._settled = np.flatnonzero(labels.known != UNKNOWN)
        self._expect: Callable[[FloatArray], tuple[FloatArray, FloatArray, float]]
        self._expect = self._expect_two if labels.classes == 2 else self._expect_any

    @property
    def free(self) -> int:
        """Free parameters."""
        of = self._labels
        per_examiner = 1 if self._one_coin else of.classes * (of.answers - 1)
        return of.classes - 1 + of.examiners * per_examiner

    def step(self, parameters: FloatArray) -> tuple[FloatArray, float]:
        """The next parameters, and how high these are."""
        shares, counts, height = self._expect(parameters)
        return self._maximise(shares, counts), height + self.prior_height(self.split(parameters)[1])

    def split(self, parameters: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Prevalence, and the tables with a row for each examiner and answer."""
        classes = self._labels.classes
        return parameters[:classes], parameters[classes:].reshape(-1, classes)

    def by_examiner(self, rows: FloatArray) -> FloatArray:
        """Rows as examiner × answer × class."""
        return rows.reshape(self._labels.examiners, self._labels.answers, self._labels.classes)

    def maximised(self, posterior: FloatArray) -> FloatArray:
        """The likeliest parameters if the classes were these; settled animals keep theirs."""
        held = posterior.copy()
        held[self._settled] = np.eye(self._labels.classes)[self._labels.known[self._settled]]
        held *= self._labels.times[:, None]
        return self._maximise(held.sum(0), np.asarray(self._back @ held))

    def inside(self, parameters: FloatArray) -> FloatArray:
        """Parameters cut to what chances can be."""
        prevalence, tables = self.split(np.maximum(parameters, _INSIDE))
        tables = self._normal(tables)
        return np.concatenate([prevalence / prevalence.sum(), tables.ravel()])

    def posterior(self, parameters: FloatArray) -> tuple[FloatArray, float]:
        """Each animal's classes, and the log-likelihood."""
        prevalence, tables = self.split(parameters)
        logs = np.asarray(self._given @ _log(tables)) + _log(prevalence)
        return self._normalised(logs)

    def prior_height(self, tables: FloatArray) -> float:
        """What the pseudo-counts add to the log-likelihood."""
        return float(xlogy(self._pseudo, np.maximum(tables, _TINY)).sum())

    def _expect_any(self, parameters: FloatArray) -> tuple[FloatArray, FloatArray, float]:
        """Expected animals of each class, expected answers, and the log-likelihood."""
        posterior, height = self.posterior(parameters)
        held = posterior * self._labels.times[:, None]
        return held.sum(0), np.asarray(self._back @ held), height

    def _expect_two(self, parameters: FloatArray) -> tuple[FloatArray, FloatArray, float]:
        """The same for two classes: one log-odds for each animal is all there is."""
        prevalence, tables = self.split(parameters)
        times, logs, base = self._labels.times, _log(tables), _log(prevalence)
        odds = np.asarray(self._given @ (logs[:, 1] - logs[:, 0])) + (base[1] - base[0])
        small = np.exp(-np.abs(odds))
        second = np.where(odds >= 0, 1.0, small) / (1 + small)
        above = np.maximum(odds, 0) + np.log1p(small)
        if self._settled.size:
            of = self._labels.known[self._settled]
            second[self._settled], above[self._settled] = of, of * odds[self._settled]
        second *= times
        height = float(self._totals @ logs[:, 0] + times.sum() * base[0] + times @ above)
        share = float(second.sum())
        counts = np.asarray(self._back @ second)
        both = np.column_stack([np.maximum(self._totals - counts, 0), counts])
        return np.array([times.sum() - share, share]), both, height

    def _normalised(self, logs: FloatArray) -> tuple[FloatArray, float]:
        if self._settled.size:
            known = self._labels.known[self._settled]
            other = np.ones((self._settled.size, logs.shape[1]), bool)
            other[np.arange(known.size), known] = False
            logs[self._settled] = np.where(other, -np.inf, logs[self._settled])
        top = logs.max(1, keepdims=True)
        np.exp(logs - top, out=logs)
        sums = logs.sum(1, keepdims=True)
        height = float(self._labels.times @ (top + np.log(sums)).ravel())
        return logs / sums, height

    def _maximise(self, shares: FloatArray, counts: FloatArray) -> FloatArray:
        tables = self._normal(counts + self._pseudo)
        return np.concatenate([shares / shares.sum(), tables.ravel()])

    def _normal(self, counts: FloatArray) -> FloatArray:
        """Counts as chances of the answers within each examiner and class. What nothing
        speaks of is left even."""
        by_examiner = self.by_examiner(counts)
        if self._one_coin:
            return self._one_accuracy(by_examiner)
        sums = by_examiner.sum(1, keepdims=True)
        even = np.full_like(by_examiner, 1 / self._labels.answers)
        chances = np.divide(by_examiner, sums, out=even, where=sums > 0)
        return chances.reshape(counts.shape)

    def _one_accuracy(self, counts: FloatArray) -> FloatArray:
        classes = self._labels.classes
        right = np.trace(counts, axis1=1, axis2=2) / counts.sum((1, 2))
        wrong = (1 - right) / (classes - 1)
        same = np.eye(classes)
        tables = right[:, None, None] * same + wrong[:, None, None] * (1 - same)
        return np.asarray(tables.reshape(-1, classes))


def _log(chances: FloatArray) -> FloatArray:
    return np.asarray(np.log(np.maximum(chances, _TINY)))


def _shares(votes: FloatArray) -> FloatArray:
    """Votes as shares; an animal nobody named a class for may be any."""
    sums = votes.sum(1, keepdims=True)
    even = np.full_like(votes, 1 / votes.shape[1])
    return np.divide(votes, sums, out=even, where=sums > 0)
