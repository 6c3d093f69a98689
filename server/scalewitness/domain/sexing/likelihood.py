"""Combining evidence on one question with two answers, in logarithms.

A *pair* is (log P(seen | male), log P(seen | female)), natural logarithms. Only the
difference of the two matters. Sums are exactly rounded (``fsum``), so no answer depends
on the order in which evidence is listed.
"""

from collections.abc import Iterable, Sequence
from math import exp, fsum, inf, log, log1p

Pair = tuple[float, float]

NOTHING: Pair = (0.0, 0.0)
"""What cannot tell the sexes apart."""


def flip(pair: Pair, chance: Pair) -> Pair:
    """The same evidence seen through something that shows the other sex's picture with
    ``chance`` (male, female): (1 − c_S)·P(S) + c_S·P(other sex)."""
    male, female = pair
    if chance == NOTHING:
        return pair
    return mix(male, female, chance[0]), mix(female, male, chance[1])


def mix(log_a: float, log_b: float, share_of_b: float) -> float:
    """log of (1 − share)·a + share·b, without leaving logarithms."""
    if share_of_b <= 0 or log_a == log_b:
        return log_a
    if share_of_b >= 1:
        return log_b
    top = max(log_a, log_b)
    return top + log((1 - share_of_b) * exp(log_a - top) + share_of_b * exp(log_b - top))


def total(pairs: Sequence[Pair]) -> Pair:
    """Evidence that is independent given the sex, taken together."""
    if len(pairs) == 1:
        return pairs[0]
    return fsum([male for male, _ in pairs]), fsum([female for _, female in pairs])


def log_ratio(pair: Pair) -> float:
    """Natural log of the likelihood ratio, male over female."""
    return pair[0] - pair[1]


def log_odds(share: float) -> float:
    """Natural log of the odds that go with a share between 0 and 1; infinite at its ends."""
    if share <= 0:
        return -inf
    return inf if share >= 1 else log(share) - log1p(-share)


def combine(log_likelihoods: Iterable[Pair], prior_male: float = 0.5) -> float:
    """The probability of male after all pairs, starting from ``prior_male``.

    Bayes' rule for two hypotheses. Raises ValueError when both were ruled out.
    """
    odds = log_odds(prior_male) + log_ratio(total(list(log_likelihoods)))
    if odds != odds:  # inf − inf
        raise ValueError("the evidence rules out both answers")
    return 1 / (1 + exp(-odds)) if odds >= 0 else exp(odds) / (1 + exp(odds))
