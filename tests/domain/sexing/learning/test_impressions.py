"""What sellers say, or the eye judges: doubted more where settled animals show it, never less."""

import numpy as np
import pytest
from scipy import optimize
from tests.domain.sexing.builders import call
from tests.domain.sexing.learning.settled import THIRD, by_name, many, settled

from scalewitness.domain.observations import Hearsay
from scalewitness.domain.sexing.case import case_of
from scalewitness.domain.sexing.evidence import other
from scalewitness.domain.sexing.learning.learn import learn
from scalewitness.domain.sexing.learning.numbers import with_learned
from scalewitness.domain.sexing.learning.settled import IMPRESSIONS
from scalewitness.domain.sexing.records import EMPTY
from scalewitness.domain.sexing.tables import table
from scalewitness.domain.sexing.taxa import taxon

HELD = {"visual": 0.2, "statement": 0.25}
AS_HELD = {"visual": 0.45, "statement": 0.425}
"""How often either is wrong by the numbers held: 0.35 where it does not mislead, else 0.65."""


def told(number, wrong, method="statement", **about):
    return many(number, wrong=wrong, method=method, people=80, homes=80, **about)


def shares(animals, method="statement"):
    found = by_name(learn(animals, THIRD))
    return [found.get(f"mislead.{method}.{sex}") for sex in ("male", "female")]


@pytest.mark.parametrize("method", IMPRESSIONS)
def test_an_impression_that_is_mostly_wrong_is_doubted_more(method):
    found = shares(told(800, 0.55, method), method)
    assert all(HELD[method] < one.low < float(one.value) <= one.high <= 0.5 for one in found)


@pytest.mark.parametrize("method", IMPRESSIONS)
@pytest.mark.parametrize("wrong", ["as held", "never"])
def test_one_that_is_right_as_often_or_always_is_doubted_as_before(method, wrong):
    """So that no number of true statements makes a seller's next one weigh more."""
    share = 0.0 if wrong == "never" else AS_HELD[method]
    assert shares(told(800, share, method), method) == [None, None]


def test_what_is_always_wrong_says_nothing_and_never_the_contrary():
    learned = learn(told(1000, 1.0), THIRD)
    assert [float(one.value) for one in shares(told(1000, 1.0))] == [0.5, 0.5]
    said = [call("male", Hearsay("seller"), f"k{n}") for n in range(3)]
    for numbers, expected in ((THIRD, 0.6), (with_learned(THIRD, learned), 0.5)):
        p_male = case_of(said[:1], taxon("python_regius"), EMPTY, numbers).view(1).p_male
        assert p_male == pytest.approx(expected, abs=0.04)
    assert case_of(said, taxon("python_regius"), EMPTY, numbers).view(3).p_male == 0.5


def test_the_share_is_that_of_a_search_by_hand():
    """Males of whom 140 were passed on as females and 110 as males, each by somebody else."""
    said = ["male"] * 110 + ["female"] * 140
    animals = [
        settled("male", (f"k{n}", one), home=f"h{n}", method="statement")
        for n, one in enumerate(said)
    ]
    error = THIRD.base.value("error.keeper.a") / 40
    wrong_proof = float(table("learning.toml")["proof"]["wrong"]["value"])
    right = 0.65 * (1 - error) + 0.35 * error

    def height(alpha):
        turned = alpha * (1 - wrong_proof) + wrong_proof * (1 - alpha)
        chance = (1 - turned) * right + turned * (1 - right)
        held = 10 * (0.25 * np.log(alpha) + 0.75 * np.log1p(-alpha))
        return -(110 * np.log(chance) + 140 * np.log1p(-chance) + held)

    alpha = optimize.minimize_scalar(height, bounds=(1e-6, 1 - 1e-6), method="bounded").x
    (found, none) = shares(animals)
    assert float(found.value) == pytest.approx(min(alpha, 0.5), abs=1e-4)
    assert none is None, "nothing was said of females"


def test_one_account_makes_no_seller_doubted():
    """However many it passes on, in its own collection or in everybody's."""
    honest = told(800, AS_HELD["statement"])
    for home in ("home-of-the-cheat", None):
        false = [
            settled(sex, ("cheat", other(sex)), home=home or f"home-{n % 80}", method="statement")
            for n in range(1000)
            for sex in ("male", "female")
        ]
        assert shares([*honest, *false]) == [None, None]


def test_whoever_repeats_a_seller_has_an_interest_and_reads_no_code():
    """As the record takes what somebody said, which is never blind."""
    as_taken = {"blind": False, "interested": True, "identity": "unconfirmed"}
    assert all(shares(told(800, 0.6, **as_taken)))
    assert shares(told(800, 0.6, blind=False, anchored_to="male")) == [None, None]
    assert shares(told(800, 0.6, identity="mismatch")) == [None, None]
