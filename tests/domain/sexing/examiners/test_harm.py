"""Rate of signs of harm."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.examiners.beta import above
from scalewitness.domain.sexing.examiners.binomial import jeffreys
from scalewitness.domain.sexing.examiners.harm import Examination, harm_rate, harm_rates


def examined(*harm, examiner="ash", method="probing"):
    return Examination(examiner, method, harm)


def test_an_examination_with_two_signs_counts_once():
    said = harm_rate([examined("bleeding", "swelling"), examined("bleeding"), examined()])
    assert (said.harmed, said.examined) == (2, 3)
    assert said.signs == (("bleeding", 2), ("swelling", 1))
    assert said.posterior == (2.5, 1.5)
    assert said.mean == pytest.approx(2.5 / 4)


@given(st.integers(0, 40), st.integers(0, 40))
def test_the_interval_is_that_of_jeffreys(harmed, unharmed):
    """Checked in test_binomial.py against R package binom and statsmodels."""
    said = harm_rate([examined("swelling")] * harmed + [examined()] * unharmed)
    if harmed + unharmed:
        assert (said.low, said.high) == jeffreys(harmed, harmed + unharmed)
    assert said.low <= said.mean <= said.high


def test_nothing_examined_leaves_the_prior():
    said = harm_rate([])
    assert (said.posterior, said.mean, said.signs) == ((0.5, 0.5), 0.5, ())


def test_no_harm_in_three_hundred_is_not_no_harm():
    """The rule of three: 0 of n leaves up to about 3/n; the Jeffreys bound is sharper."""
    said = harm_rate([examined()] * 300)
    assert 0.004 < said.high < 3 / 300
    assert above(said.posterior, 0.02) < 0.001 < above(said.posterior, 0.002)


def test_each_examiner_and_method_has_a_rate_of_its_own():
    rates = harm_rates(
        [
            examined("prolapse", method="eversion"),
            examined(),
            examined(),
            examined("other", examiner="birch"),
        ]
    )
    assert list(rates) == [("ash", "eversion"), ("ash", "probing"), ("birch", "probing")]
    assert [rate.harmed for rate in rates.values()] == [1, 0, 1]
    assert [rate.examined for rate in rates.values()] == [1, 2, 1]
