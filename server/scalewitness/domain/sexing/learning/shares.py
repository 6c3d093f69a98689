"""How often examiners misread animals, and how many animals mislead a method.

The numbers are those that make what was seen of settled animals likeliest, by the model's own
formula for one method (:mod:`~scalewitness.domain.sexing.formulas.shared_errors`): for an animal
of sex S with the checks i,

    E_i(S) = (1 − ω)·((1 − ε)·L_i(S) + ε·L_i(S̄)) + ω·L_i(c)
    P = (1 − α')·Π E_i(S) + α'·Π E_i(S̄),   α' = α, or else the proof was wrong

where c is what was concluded before, and ω as yet nought or learned already, together with what
was held before, a Beta distribution for each (empirical Bayes: the upper level
of the hierarchy is given). What is fitted are log odds, where the mode of a Beta distribution is
its mean. So without settled animals everything stays as it was; and where every check is clear and
nothing misleads, value and interval are those of the Beta distribution itself.
"""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
from scipy.optimize import minimize
from scipy.special import expit, logit

from scalewitness.domain.observations import Method, Sex
from scalewitness.domain.sexing.evidence import Role
from scalewitness.domain.sexing.examiners.beta import interval
from scalewitness.domain.sexing.learning.influence import FloatArray, influence
from scalewitness.domain.sexing.learning.numbers import Estimate
from scalewitness.domain.sexing.learning.rules import rule
from scalewitness.domain.sexing.learning.settled import Look
from scalewitness.domain.sexing.likelihood import Pair
from scalewitness.domain.sexing.parameters import Parameters, ParameterSet
from scalewitness.domain.sexing.records import Beta, error_prior

_STEP = 1e-4
"""Of log odds, to take the curvature from the gradient, which is exact."""


class ReadLook(NamedTuple):
    """A look with what it says by itself, how many times the usual error it may have, and how
    often such a one repeats what was heard though it is said to be blind."""

    look: Look
    pair: Pair
    times: float
    unblind: float = 0.0


class Shares(NamedTuple):
    """What was fitted for one method and sex. For each check: ``misread`` is the chance that its
    examiner misread the animal, ``expected`` what that was before one looked, ``weight`` how much
    it counts."""

    errors: Mapping[Role, Estimate]
    mislead: Estimate
    misread: FloatArray
    expected: FloatArray
    weight: FloatArray


def fit(reads: Sequence[ReadLook], method: Method, sex: Sex, parameters: Parameters) -> Shares:
    """From the checks of animals of that sex by that method, of which there is at least one. No
    interval ends below what the same checks make of what the pessimistic numbers held."""
    base = _fit(reads, method, sex, parameters.base)
    warier = _fit(reads, method, sex, parameters.pessimistic)
    errors = {role: _wary(one, warier.errors[role]) for role, one in base.errors.items()}
    return base._replace(errors=errors, mislead=_wary(base.mislead, warier.mislead))


def misleading(
    reads: Sequence[ReadLook], method: Method, sex: Sex, parameters: Parameters
) -> Estimate | None:
    """How many animals of that sex an impression misleads, at most one half, beyond which it would
    count for the other sex. None where no more than was held are beyond chance: however many
    repeat what a seller says, they weigh no more for their having been right elsewhere."""
    numbers = parameters.base
    roles = sorted({read.look.call.role for read in reads})
    share = numbers.value(f"mislead.{method}.{sex}")
    means = [_mean(error_prior(numbers, role, method, sex)) for role in roles]
    held = [_weighing(share, "impression"), *(_weighing(mean, "error") for mean in means)]
    most = numbers.value("error.most")
    animals = _Checks(reads, sex, roles, _weights(reads, "impression"), most)
    found = animals.estimates(animals.likeliest(_odds(held), held, 1), held, 1)[0]
    return Estimate(*(min(one, most) for one in found)) if found.low > share else None


def _wary(found: Estimate, warier: Estimate) -> Estimate:
    return found._replace(high=max(found.high, warier.value))


def _fit(reads: Sequence[ReadLook], method: Method, sex: Sex, numbers: ParameterSet) -> Shares:
    roles = sorted({read.look.call.role for read in reads})
    misleading = numbers.value(f"mislead.{method}.{sex}")
    means = [_mean(error_prior(numbers, role, method, sex)) for role in roles]
    held = [_weighing(misleading, "mislead"), *(_weighing(mean, "error") for mean in means)]
    checks, animals = (
        _Checks(reads, sex, roles, _weights(reads, what), numbers.value("error.most"))
        for what in ("error", "mislead")
    )
    at = checks.likeliest(_odds(held), held, len(held))
    again = animals.likeliest(at, held, 1)
    errors = checks.estimates(at, held, len(held))[1:]
    misread, expected = checks.responsible(at)
    return Shares(
        dict(zip(roles, errors, strict=True)),
        animals.estimates(again, held, 1)[0],
        misread,
        expected,
        checks.each,
    )


def _mean(of: Beta) -> float:
    return of[0] / sum(of)


def _weighing(mean: float, what: str) -> Beta:
    weight = rule("weight", what)
    return mean * weight, (1 - mean) * weight


def _odds(held: Sequence[Beta]) -> FloatArray:
    return np.asarray(logit([_mean(one) for one in held]))


def _weights(reads: Sequence[ReadLook], what: str) -> FloatArray:
    """What each check counts for; those of one role never make up for another's."""
    weights = np.zeros(len(reads))
    roles = [read.look.call.role for read in reads]
    for role in set(roles):
        own = [n for n, one in enumerate(roles) if one == role]
        looks = [reads[n].look for n in own]
        weights[own] = influence(
            [look.call.examiner for look in looks],
            [look.of.collection for look in looks],
            rule("weight", what),
            rule("most", what),
            rule("alike", "error"),
        )
    return weights


class _Seen(NamedTuple):
    """Of each check, given shares: ε; log E of the animal's sex and of the other; the slope of
    either in its role's share."""

    error: FloatArray
    straight: FloatArray
    turned: FloatArray
    straight_slope: FloatArray
    turned_slope: FloatArray


class _Checks:
    """The checks of one method on animals of one sex, as arrays; ``x`` is always the log odds of
    α and then of each role's ε. An animal counts as much as its weightiest check, and each check
    of it for its share of that: whoever looks at every animal takes away nobody's weight."""

    def __init__(
        self,
        reads: Sequence[ReadLook],
        sex: Sex,
        roles: Sequence[Role],
        each: FloatArray,
        most: float,
    ) -> None:
        pairs = np.array([read.pair for read in reads])
        self.own, self.other = pairs.T if sex == "male" else pairs.T[::-1]
        heard = np.where([read.look.heard == sex for read in reads], self.own, self.other)
        self.seen = np.array([1 - read.unblind for read in reads])
        self.repeated = heard + _log(1 - self.seen)
        self.times = np.array([read.times for read in reads])
        self.role = np.array([roles.index(read.look.call.role) for read in reads])
        self.each = each
        _, self.animal = np.unique([read.look.animal for read in reads], return_inverse=True)
        self.weight = np.zeros(int(self.animal.max()) + 1)
        np.maximum.at(self.weight, self.animal, each)
        self.share = each / self.weight[self.animal]
        self.wrong_proof = rule("proof", "wrong")
        self.most = most

    def likeliest(self, start: FloatArray, held: Sequence[Beta], free: int) -> FloatArray:
        """The mode from ``start``; only the first ``free`` log odds move."""

        def depth(moved: FloatArray) -> tuple[float, FloatArray]:
            value, slope = self.height(np.concatenate([moved, start[free:]]), held)
            return -value, -slope[:free]

        found = minimize(depth, start[:free], jac=True, method="BFGS")
        return np.concatenate([found.x, start[free:]])

    def estimates(self, x: FloatArray, held: Sequence[Beta], free: int) -> list[Estimate]:
        """The free shares at a mode. Their intervals are those of Beta distributions with the
        same mean, and the same curvature in log odds."""
        curvature = np.empty((free, free))
        for n, step in enumerate(np.eye(free, x.size) * _STEP):
            behind, ahead = (self.height(x + way * step, held)[1][:free] for way in (-1, 1))
            curvature[n] = (behind - ahead) / (2 * _STEP)
        variance = np.diag(np.linalg.inv((curvature + curvature.T) / 2))
        return [_estimate(*pair) for pair in zip(expit(x[:free]), variance, strict=True)]

    def height(self, x: FloatArray, held: Sequence[Beta]) -> tuple[float, FloatArray]:
        """The log posterior at these log odds, up to a constant, and its slope."""
        shares = expit(x)
        seen = self._seen(shares)
        chance, turned, log_likelihood = self._turned(float(shares[0]), seen)
        slope = np.empty(x.size)
        slope[0] = (1 - 2 * self.wrong_proof) * (
            self.weight @ ((turned - chance) / (chance * (1 - chance)))
        )
        mostly = turned[self.animal]
        by_check = (1 - mostly) * seen.straight_slope + mostly * seen.turned_slope
        slope[1:] = np.bincount(self.role, self.each * by_check, minlength=x.size - 1)
        a, b = np.array(held).T
        value = self.weight @ log_likelihood + a @ np.log(shares) + b @ np.log1p(-shares)
        return float(value), slope * shares * (1 - shares) + a * (1 - shares) - b * shares

    def responsible(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """For each check the chance that its examiner misread the animal, and that held before."""
        shares = expit(x)
        seen = self._seen(shares)
        turned = self._turned(float(shares[0]), seen)[1][self.animal]
        straight = (1 - turned) * np.exp(self.other - seen.straight)
        expected = self.seen * seen.error
        return expected * (straight + turned * np.exp(self.own - seen.turned)), expected

    def _seen(self, shares: FloatArray) -> _Seen:
        error = np.minimum(self.times * shares[1:][self.role], self.most)
        slope = np.where(error < self.most, self.times, 0.0)
        right, wrong = np.log1p(-error) + _log(self.seen), np.log(error) + _log(self.seen)
        slope *= self.seen
        straight, turned = (
            np.logaddexp(np.logaddexp(right + one, wrong + two), self.repeated)
            for one, two in ((self.own, self.other), (self.other, self.own))
        )
        apart = np.exp(self.other - straight) - np.exp(self.own - straight)
        apart_turned = np.exp(self.own - turned) - np.exp(self.other - turned)
        return _Seen(error, straight, turned, slope * apart, slope * apart_turned)

    def _turned(self, mislead: float, seen: _Seen) -> tuple[float, FloatArray, FloatArray]:
        """α'; for each animal the chance that it showed the other sex's picture, and log P."""
        chance = mislead + self.wrong_proof - 2 * mislead * self.wrong_proof
        number = self.weight.size
        straight = np.log1p(-chance) + np.bincount(self.animal, self.share * seen.straight, number)
        turned = np.log(chance) + np.bincount(self.animal, self.share * seen.turned, number)
        log_likelihood = np.logaddexp(straight, turned)
        return chance, np.exp(turned - log_likelihood), log_likelihood


def _log(share: FloatArray) -> FloatArray:
    """Of nought, minus infinity."""
    return np.log(share, out=np.full(share.shape, -np.inf), where=share > 0)


def _estimate(mean: float, variance: float) -> Estimate:
    """A Beta distribution with this mean has variance 1 / (n·m·(1 − m)) in log odds at it."""
    weight = 1 / (variance * mean * (1 - mean))
    return Estimate(float(mean), *interval((mean * weight, (1 - mean) * weight)))
