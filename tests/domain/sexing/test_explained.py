"""What the simulation prints beside its scores: a right model's, what keeps animals from being
verified, and what the world's own rates would come to."""

import numpy as np
import pytest

from bench.own_rates import with_own_rates
from bench.reliability import hold_if_right, reliability
from bench.simulation import run, verifies_too_little
from bench.worlds import OTHERWISE, WORLDS
from scalewitness.domain.sexing.learning.settled import LEARNED_OF
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.records import error_prior

HELD = load_parameters()


@pytest.fixture(scope="module")
def explained():
    (found,) = run(OTHERWISE, 600, 5, [0], explain=True)
    return found


def test_a_right_model_misses_a_bin_now_and_then_and_a_sure_one_most():
    """Nine intervals of 95 %, each at least so wide: 8.55 or more hold on average."""
    rng = np.random.default_rng(2)
    p_male = 1 / (1 + np.exp(-rng.normal(0, 3, 5_000)))
    right = hold_if_right(p_male, rng)
    assert 8.5 < np.mean(right) < 8.95
    assert min(right) >= 6
    too_sure = p_male + 0.5 * p_male * (1 - p_male) * np.sign(p_male - 0.5)
    holding = [one.holds for one in reliability(too_sure, rng.random(p_male.size) < p_male)]
    assert sum(holding) < 5


def test_a_world_drawn_from_the_model_has_the_rates_that_are_held():
    own = with_own_rates(WORLDS[0], HELD, ())
    assert WORLDS[0].shared
    for role in ("keeper", "veterinarian"):
        for method in LEARNED_OF:
            for sex in ("male", "female"):
                a, b = error_prior(own.base, role, method, sex)
                held_a, held_b = error_prior(HELD.base, role, method, sex)
                assert a / (a + b) == pytest.approx(held_a / (held_a + held_b), abs=1e-5)
    for name, number in own.base.numbers.items():
        if name.startswith("mislead.") and number.value > 2e-4:
            assert number.value == pytest.approx(HELD.base.value(name), abs=1e-6), name


def test_another_world_has_its_own_in_both_sets():
    own = with_own_rates(OTHERWISE, HELD, ())
    for numbers in (own.base, own.pessimistic):
        assert numbers.value("mislead.probing.male") == 4 * HELD.base.value("mislead.probing.male")
        assert numbers.value("mislead.statement.male") == 0.5, "never the contrary"
        assert numbers.value("error.keeper.probing.female") == 0.1
        assert numbers.value("blind.followed") == pytest.approx(
            0.25 * (1 - 0.291 / 0.572), abs=1e-5
        )


def test_each_that_two_methods_agree_on_is_verified_or_counted_once(explained):
    second, left = explained.scores.second, explained.why.left
    assert left.count == second.agree - second.agree_verified > 10
    assert sum(left.why.values()) == left.count >= left.right
    proofs, verified = left.proof
    assert second.agree > proofs >= verified > 0
    assert not any("learned" in one for one in left.why), "nothing was"


def test_too_little_is_less_than_the_worlds_own_rates_verify(explained):
    second = explained.scores.second
    half = second._replace(agree_verified=second.agree // 2)
    fewer = explained._replace(scores=explained.scores._replace(second=half))
    assert verifies_too_little([fewer._replace(why=explained.why._replace(own=second))])
    assert not verifies_too_little([fewer._replace(why=explained.why._replace(own=half))])
