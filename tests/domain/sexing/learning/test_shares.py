"""Error rates and misleading shares, against closed forms and against the shares drawn from."""

from decimal import Decimal
from itertools import product

import numpy as np
import pytest
from scipy import optimize, stats
from tests.domain.sexing.learning.settled import THIRD, by_name, many, settled

from scalewitness.domain.sexing.learning.influence import influence, most_each
from scalewitness.domain.sexing.learning.learn import learn
from scalewitness.domain.sexing.learning.settled import looks_at
from scalewitness.domain.sexing.learning.shares import ReadLook, fit
from scalewitness.domain.sexing.tables import table

BASE = THIRD.base
HELD = 0.05 * 1.15  # a keeper's prior mean, by how much commoner the error is in males
RULES = table("learning.toml")


def reads(animals, certain=50.0):
    """Checks that leave no doubt what was seen."""
    found = []
    for look in looks_at(animals):
        pair = (0.0, -certain) if look.call.conclusion == "male" else (-certain, 0.0)
        found.append(ReadLook(look, pair, 1.0))
    return found


def each_by_another(right, wrong):
    """Males, one check each, everyone and every home once."""
    said = ["male"] * right + ["female"] * wrong
    return [settled("male", (f"k{n}", one), home=f"h{n}") for n, one in enumerate(said)]


@pytest.fixture
def nothing_misleads(monkeypatch):
    monkeypatch.setitem(RULES["proof"]["wrong"], "value", Decimal("1e-9"))
    monkeypatch.setitem(RULES["weight"]["mislead"], "value", Decimal("1e9"))
    monkeypatch.setattr(type(BASE), "value", _misleads_never(type(BASE).value))


def _misleads_never(value):
    return lambda self, name: 1e-12 if name.startswith("mislead.") else value(self, name)


@pytest.mark.parametrize(("right", "wrong"), [(95, 5), (300, 60), (40, 0), (1, 1)])
def test_clear_checks_give_the_beta_distribution_itself(nothing_misleads, right, wrong):
    found = fit(reads(each_by_another(right, wrong)), "probing", "male", THIRD).errors["keeper"]
    a, b = 100 * HELD + wrong, 100 * (1 - HELD) + right
    expected = stats.beta(a, b)
    assert found.value == pytest.approx(expected.mean(), rel=1e-4)
    assert found.low == pytest.approx(expected.ppf(0.025), rel=1e-3)
    warier = (100 * _pessimistic() + wrong) / (100 + wrong + right)
    assert found.high == pytest.approx(max(expected.ppf(0.975), warier), rel=1e-3)


def _pessimistic():
    """A published share of wrong or unresolved answers, half of them unresolved (Katz et al.)."""
    return (0.28 - 0.14) / (1 - 0.14) * 1.15


def test_the_mode_is_that_of_a_search_over_all_shares():
    """By hand: the posterior written down from the formula, climbed without a gradient."""
    rng = np.random.default_rng(3)
    patterns = list(product(("male", "female"), repeat=2))
    animals = [
        settled("male", (f"k{n}", one), (f"l{n}", two), home=f"h{n}")
        for n, (one, two) in enumerate(
            patterns[i] for i in rng.choice(4, 400, p=[0.8, 0.06, 0.06, 0.08])
        )
    ]
    own = reads(animals, certain=2.0)
    seen = np.array([[a.pair for a in own[n : n + 2]] for n in range(0, len(own), 2)])
    wrong_proof = float(RULES["proof"]["wrong"]["value"])

    def height(x):
        alpha, error = 1 / (1 + np.exp(-np.array(x)))
        turned = alpha * (1 - wrong_proof) + wrong_proof * (1 - alpha)
        male, female = np.exp(seen[..., 0]), np.exp(seen[..., 1])
        straight = ((1 - error) * male + error * female).prod(1)
        other = ((1 - error) * female + error * male).prod(1)
        prior = 200 * (0.005 * np.log(alpha) + 0.995 * np.log1p(-alpha))
        prior += 100 * (HELD * np.log(error) + (1 - HELD) * np.log1p(-error))
        return -np.log((1 - turned) * straight + turned * other).sum() - prior

    x = optimize.minimize(height, [-4, -3], method="Nelder-Mead", options={"xatol": 1e-7}).x
    alpha, error = 1 / (1 + np.exp(-x))
    found = fit(own, "probing", "male", THIRD)
    assert found.errors["keeper"].value == pytest.approx(error, rel=1e-3)
    assert found.mislead.value == pytest.approx(alpha, rel=0.02), "its own fit, at that error"


def test_what_was_repeated_is_taken_off_before_shares_are_fitted():
    """The same search, where the second of two repeats the first three times in ten."""
    told = 0.3
    rng = np.random.default_rng(3)
    patterns = list(product(("male", "female"), repeat=2))
    animals = [
        settled("male", (f"k{n}", one), (f"l{n}", two), home=f"h{n}")
        for n, (one, two) in enumerate(
            patterns[i] for i in rng.choice(4, 400, p=[0.85, 0.05, 0.05, 0.05])
        )
    ]
    own = [
        read._replace(unblind=told if read.look.heard else 0.0)
        for read in reads(animals, certain=2.0)
    ]
    assert [bool(read.unblind) for read in own[:4]] == [False, True, False, True]
    male, female = np.exp(
        np.array([[a.pair for a in own[n : n + 2]] for n in range(0, len(own), 2)])
    ).transpose(2, 0, 1)
    heard = np.where([own[n].look.call.conclusion == "male" for n in range(0, len(own), 2)], 0, 1)
    repeated = np.where(heard == 0, male[:, 1], female[:, 1])
    wrong_proof = float(RULES["proof"]["wrong"]["value"])

    def height(x):
        alpha, error = 1 / (1 + np.exp(-np.array(x)))
        turned = alpha * (1 - wrong_proof) + wrong_proof * (1 - alpha)

        def both(one, two):
            first, second = ((1 - error) * one + error * two).T
            return first * ((1 - told) * second + told * repeated)

        prior = 200 * (0.005 * np.log(alpha) + 0.995 * np.log1p(-alpha))
        prior += 100 * (HELD * np.log(error) + (1 - HELD) * np.log1p(-error))
        seen = (1 - turned) * both(male, female) + turned * both(female, male)
        return -np.log(seen).sum() - prior

    x = optimize.minimize(height, [-4, -3], method="Nelder-Mead", options={"xatol": 1e-7}).x
    alpha, error = 1 / (1 + np.exp(-x))
    found = fit(own, "probing", "male", THIRD)
    assert found.errors["keeper"].value == pytest.approx(error, rel=1e-3)
    assert found.mislead.value == pytest.approx(alpha, rel=0.03), "its own fit, at that error"
    assert found.expected[1] == pytest.approx((1 - told) * found.expected[0])
    assert found.misread[1::2].mean() < found.misread[::2].mean()
    never = fit([one._replace(unblind=0.0) for one in own], "probing", "male", THIRD)
    assert never.mislead.value > found.mislead.value


def test_shares_come_back_that_the_counts_were_made_from():
    """Two checks each, just as many right and wrong ones as the formula expects."""
    number, alpha, error = 4000, 0.03, 0.1
    both = alpha * (1 - error) ** 2 + (1 - alpha) * error**2
    counts = {0: 0, 1: 2 * error * (1 - error), 2: both}
    counts[0] = 1 - counts[1] - counts[2]
    said = [n for n, share in counts.items() for _ in range(round(number * share))]
    found = fit(reads([_twice(n, wrong) for n, wrong in enumerate(said)]), "probing", "male", THIRD)
    assert found.errors["keeper"].value == pytest.approx(error, abs=0.003)
    # A little is taken for proofs that were wrong, and a little for what was held before.
    assert found.mislead.value == pytest.approx(alpha, abs=0.005)
    assert found.mislead.low < alpha < found.mislead.high


def _twice(number, wrong):
    said = ["female"] * wrong + ["male"] * (2 - wrong)
    checks = [(f"{who}{number}", one) for who, one in zip("kl", said, strict=True)]
    return settled("male", *checks, home=f"h{number}")


def test_one_check_an_animal_tells_no_misleading_animal_from_a_misread_one():
    found = by_name(learn(many(400), THIRD))
    assert "error.keeper.probing.male" in found
    assert not any(name.startswith("mislead.") for name in found)


@pytest.mark.parametrize(
    ("short", "about"),
    [
        ("animals", {"number": 19}),
        ("collections", {"number": 300, "homes": 4}),
        ("examiners", {"number": 300, "people": 4}),
    ],
)
def test_nothing_is_learned_from_few(short, about):
    assert learn(many(sex="male", **about), THIRD) == (), short


@pytest.mark.parametrize(
    "about",
    [
        {"blind": False},
        {"identity": "unconfirmed"},
        {"report": "unconfirmed"},
        {"report": "denied"},
    ],
)
def test_nothing_is_learned_from_who_knew_from_hearsay_or_from_any_snake(about):
    assert learn(many(200, **about), THIRD) == ()


def test_the_order_of_animals_and_checks_says_nothing():
    animals = many(300, checks=2, wrong=0.1)
    rng = np.random.default_rng(5)
    shuffled = [animals[n] for n in rng.permutation(len(animals))]
    turned = [type(one)(one.species, one.sex, one.collection, one.checks[::-1]) for one in shuffled]
    assert learn(animals, THIRD) == learn(shuffled, THIRD) == learn(turned, THIRD)


def test_a_second_look_by_the_same_person_counts_for_nothing():
    once = many(200, people=40)
    twice = [
        type(one)(one.species, one.sex, one.collection, (*one.checks, _again(one.checks[0])))
        for one in once
    ]
    assert learn(twice, THIRD) == learn(once, THIRD)


def _again(call):
    later = {"call": call.call + "-again", "position": call.position + 10**6}
    return type(call)(**{n: getattr(call, n) for n in call.__struct_fields__} | later)


def test_many_checks_of_one_examiner_count_as_a_cluster_sample():
    """The design effect by hand: n checks as n / (1 + (n − 1)·ρ)."""
    weights = influence(["a"] * 11 + ["b"], [str(n) for n in range(12)], 1e9, 0.5, 0.1)
    assert weights == pytest.approx([1 / 2] * 11 + [1.0])


def test_whoever_weighs_most_is_cut_to_their_share_of_the_whole():
    weights = np.array([500.0, 40.0, 3.0, 2.0, 1.0])
    level = most_each(weights, 100, 0.1)
    kept = np.minimum(weights, level)
    assert level == pytest.approx(0.1 * (100 + kept.sum()))
    assert most_each(np.array([1.0, 2.0]), 100, 0.1) == np.inf
