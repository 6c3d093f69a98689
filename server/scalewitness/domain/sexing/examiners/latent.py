"""One EM step of the latent-class model, over blocks of animals that fit the cache."""

from collections.abc import Callable
from typing import Literal

import numpy as np
import numpy.typing as npt
from msgspec import Struct
from scipy.sparse import csc_array, csr_array
from scipy.special import xlogy

from scalewitness.domain.sexing.examiners.labels import UNKNOWN, Labels

FloatArray = npt.NDArray[np.float64]
Coins = Literal["two", "one"]
"""A table of its own for every examiner and class, or one accuracy for every examiner."""

_TINY = 1e-300
"""What a chance of nought counts as inside a logarithm."""
_INSIDE = 1e-12
"""A leap that would leave [0, 1] stops this far from the edge."""
_BLOCK = 8192
"""Animals in a block: its arrays stay in the cache and are handed out again by the
allocator. Whole columns of 100,000 took three times as long."""


class _Block(Struct, frozen=True, eq=False):
    """Some of the animals: their answers both ways round, and which of them are settled."""

    given: csr_array[np.float64]
    back: csc_array[np.float64]
    times: FloatArray
    settled: npt.NDArray[np.intp]
    known: npt.NDArray[np.int64]


Expected = tuple[FloatArray, FloatArray, float]
"""Expected animals of each class, expected answers (row for each examiner and answer,
column for each class), and the log-likelihood."""


class Model:
    """EM steps for one set of labels. Parameters are one flat array: the prevalence, then
    for every examiner and answer its chance in each class. Raises ValueError where one
    coin meets an answer that names no class."""

    def __init__(self, labels: Labels, coins: Coins = "two", pseudo: FloatArray | float = 0.0):
        if coins == "one" and labels.answers != labels.classes:
            raise ValueError("one coin has no side for an answer that names no class")
        self._labels, self._one_coin = labels, coins == "one"
        self._blocks = [_block(labels, at) for at in range(0, labels.animals, _BLOCK)]
        shape = (labels.examiners, labels.classes, labels.answers)
        extra = np.broadcast_to(np.asarray(pseudo, np.float64), shape)
        self._pseudo = extra.transpose(0, 2, 1).reshape(-1, labels.classes)
        self._animals = float(labels.times.sum())
        self._totals = np.asarray(labels.given.T @ labels.times)
        self._expect: Callable[[FloatArray], Expected]
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
        return self._maximise(shares, counts), height + self.prior_height(parameters)

    def split(self, parameters: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Prevalence, and the tables with a row for each examiner and answer."""
        classes = self._labels.classes
        return parameters[:classes], parameters[classes:].reshape(-1, classes)

    def tables(self, parameters: FloatArray) -> FloatArray:
        """The tables as examiner × class × answer."""
        return self._by_examiner(self.split(parameters)[1]).transpose(0, 2, 1)

    def maximised(self, posterior: FloatArray) -> FloatArray:
        """The likeliest parameters if the classes were these; settled animals keep theirs."""
        held = posterior.copy()
        settled = np.flatnonzero(self._labels.known != UNKNOWN)
        held[settled] = np.eye(self._labels.classes)[self._labels.known[settled]]
        held *= self._labels.times[:, None]
        return self._maximise(held.sum(0), np.asarray(self._labels.given.T @ held))

    def inside(self, parameters: FloatArray) -> FloatArray:
        """Parameters cut to what chances can be."""
        prevalence, tables = self.split(np.maximum(parameters, _INSIDE))
        return np.concatenate([prevalence / prevalence.sum(), self._normal(tables).ravel()])

    def posterior(self, parameters: FloatArray) -> tuple[FloatArray, float]:
        """Each animal's classes, and the log-likelihood."""
        logs = [_log(part) for part in self.split(parameters)]
        parts = [_posterior(block, logs[0], logs[1]) for block in self._blocks]
        return np.concatenate([part for part, _ in parts]), sum(height for _, height in parts)

    def prior_height(self, parameters: FloatArray) -> float:
        """What the pseudo-counts add to the log-likelihood."""
        tables = np.maximum(self.split(parameters)[1], _TINY)
        return float(xlogy(self._pseudo, tables).sum())

    def _expect_any(self, parameters: FloatArray) -> Expected:
        prevalence, tables = (_log(part) for part in self.split(parameters))
        shares, counts, height = np.zeros_like(prevalence), np.zeros_like(tables), 0.0
        for block in self._blocks:
            held, part = _posterior(block, prevalence, tables)
            held *= block.times[:, None]
            shares += held.sum(0)
            counts += np.asarray(block.back @ held)
            height += part
        return shares, counts, height

    def _expect_two(self, parameters: FloatArray) -> Expected:
        """With two classes one log-odds for each animal is all there is."""
        prevalence, tables = (_log(part) for part in self.split(parameters))
        weights, base = tables[:, 1] - tables[:, 0], float(prevalence[1] - prevalence[0])
        height = float(self._totals @ tables[:, 0] + self._animals * prevalence[0])
        counts, share = np.zeros(weights.size), 0.0
        for block in self._blocks:
            second, above = _second(block, np.asarray(block.given @ weights) + base)
            second *= block.times
            share += float(second.sum())
            counts += np.asarray(block.back @ second)
            height += float(block.times @ above)
        both = np.column_stack([np.maximum(self._totals - counts, 0), counts])
        return np.array([self._animals - share, share]), both, height

    def _maximise(self, shares: FloatArray, counts: FloatArray) -> FloatArray:
        tables = self._normal(counts + self._pseudo)
        return np.concatenate([shares / shares.sum(), tables.ravel()])

    def _normal(self, counts: FloatArray) -> FloatArray:
        """Counts as chances of the answers within each examiner and class. What nothing
        speaks of is left even."""
        by_examiner = self._by_examiner(counts)
        if self._one_coin:
            return _one_accuracy(by_examiner)
        sums = by_examiner.sum(1, keepdims=True)
        even = np.full_like(by_examiner, 1 / self._labels.answers)
        chances = np.divide(by_examiner, sums, out=even, where=sums > 0)
        return np.asarray(chances.reshape(counts.shape))

    def _by_examiner(self, rows: FloatArray) -> FloatArray:
        """Rows as examiner × answer × class."""
        return rows.reshape(self._labels.examiners, self._labels.answers, self._labels.classes)


def _block(labels: Labels, first: int) -> _Block:
    some = slice(first, first + _BLOCK)
    given, known = labels.given[some], labels.known[some]
    settled = np.flatnonzero(known != UNKNOWN)
    return _Block(given, csc_array(given.T), labels.times[some], settled, known[settled])


def _posterior(
    block: _Block, prevalence: FloatArray, tables: FloatArray
) -> tuple[FloatArray, float]:
    """Classes of the block's animals from logarithms, and its log-likelihood."""
    logs = np.asarray(block.given @ tables) + prevalence
    if block.settled.size:
        other = np.ones((block.settled.size, prevalence.size), bool)
        other[np.arange(block.settled.size), block.known] = False
        logs[block.settled] = np.where(other, -np.inf, logs[block.settled])
    top = logs.max(1, keepdims=True)
    chances = np.exp(logs - top)
    sums = chances.sum(1, keepdims=True)
    return chances / sums, float(block.times @ (top + np.log(sums)).ravel())


def _second(block: _Block, odds: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The chance of the second class from log-odds, and by how much the log-likelihood
    exceeds that of all animals being of the first."""
    small = np.exp(-np.abs(odds))
    whole = 1 + small
    second = np.where(odds >= 0, 1.0, small) / whole
    above = np.maximum(odds, 0) + np.log(whole)
    if block.settled.size:
        second[block.settled] = block.known
        above[block.settled] = block.known * odds[block.settled]
    return second, above


def _one_accuracy(counts: FloatArray) -> FloatArray:
    """Tables with one chance of being right for each examiner, whatever the class."""
    classes = counts.shape[2]
    right = np.trace(counts, axis1=1, axis2=2) / counts.sum((1, 2))
    wrong, same = (1 - right) / (classes - 1), np.eye(classes)
    tables = right[:, None, None] * same + wrong[:, None, None] * (1 - same)
    return np.asarray(tables.reshape(-1, classes))


def _log(chances: FloatArray) -> FloatArray:
    return np.asarray(np.log(np.maximum(chances, _TINY)))
