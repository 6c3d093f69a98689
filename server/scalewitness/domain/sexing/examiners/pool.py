"""Error rates without settled truth: Dawid and Skene's model, by maximum likelihood.

Every animal is of one unknown class; given it, every answer is drawn independently from
that examiner's own table (Dawid and Skene 1979, Applied Statistics 28). What comes out is
provisional: examiners who are wrong together look right, and the likelihood has several
maxima (see :mod:`starts`).
"""

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from scalewitness.domain.sexing.examiners.climb import MOST_STEPS, STILL, climb
from scalewitness.domain.sexing.examiners.labels import Labels
from scalewitness.domain.sexing.examiners.latent import Coins, Model

FloatArray = npt.NDArray[np.float64]


class PoolFit(Struct, frozen=True, eq=False):
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
    def most_likely(self) -> npt.NDArray[np.int64]:
        """The class of each animal with the highest posterior, the first of equals."""
        return np.asarray(self.posterior.argmax(1))


def averaged(labels: Labels) -> FloatArray:
    """The start of Dawid and Skene: each animal's classes in the shares they were named.
    Evenly split answers put it on a saddle (:mod:`starts`)."""
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
) -> PoolFit:
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
    return PoolFit(
        prevalence=model.split(ended.parameters)[0],
        tables=model.tables(ended.parameters),
        posterior=posterior,
        log_likelihood=log_likelihood,
        objective=log_likelihood + model.prior_height(ended.parameters),
        heights=ended.heights,
        steps=ended.steps,
        converged=ended.converged,
        parameters=model.free,
        animals=float(labels.times.sum()),
    )


def _shares(votes: FloatArray) -> FloatArray:
    """Votes as shares; an animal nobody named a class for may be any."""
    sums = votes.sum(1, keepdims=True)
    even = np.full_like(votes, 1 / votes.shape[1])
    return np.asarray(np.divide(votes, sums, out=even, where=sums > 0))
