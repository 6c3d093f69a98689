"""However much one account sends, it moves no number far: the bounds of `learning.toml`."""

from functools import cache

import numpy as np
import pytest
from tests.domain.sexing.builders import probed
from tests.domain.sexing.learning.settled import THIRD, by_name, many, settled, snakes

from scalewitness.domain.sexing.evidence import other
from scalewitness.domain.sexing.learning.learn import learn

FABRICATED = 10_000
MOST = {"error": 0.04, "mislead": 0.03, "middle": 0.5, "spread": 0.5, "times": 0.5}
"""By how much a share, a depth in scales, a multiple of the usual error may move. Downwards, to
make a sex look surer, a share moves far less: see the test of that."""


@cache
def honest():
    return [
        *many(1500, wrong=0.06, mislead=0.01, checks=2, people=80, homes=80),
        *snakes(240, (8, 1), (3, 0.8), "morelia_viridis"),
    ]


@pytest.fixture(scope="module")
def learned():
    return by_name(learn(honest(), THIRD))


@cache
def learned_with(kind):
    return by_name(learn([*honest(), *fabricated(kind)], THIRD))


def fabricated(kind):
    """What one account may add: animals in its collection, checks of its own, by many if it finds
    accomplices for those."""
    rng = np.random.default_rng(9)
    return [
        KINDS[kind](("male", "female")[n % 2], f"home-{rng.integers(80)}", f"helper-{n % 50}")
        for n in range(FABRICATED)
    ]


AT_HOME = "home-of-the-cheat"
KINDS = {
    "always wrong, at home": lambda sex, away, helper: settled(
        sex, ("cheat", other(sex)), home=AT_HOME
    ),
    "always wrong, elsewhere": lambda sex, away, helper: settled(
        sex, ("cheat", other(sex)), home=away
    ),
    "always right, at home": lambda sex, away, helper: settled(sex, ("cheat", sex), home=AT_HOME),
    "always right, elsewhere": lambda sex, away, helper: settled(sex, ("cheat", sex), home=away),
    "misleading, with helpers": lambda sex, away, helper: settled(
        sex, ("cheat", other(sex)), (helper, other(sex)), home=AT_HOME
    ),
    "deep": lambda sex, away, helper: settled(
        sex,
        ("cheat", sex),
        home=AT_HOME,
        species="morelia_viridis",
        observed=probed(*(2 * [10 if sex == "male" else 5])),
    ),
    "shallow": lambda sex, away, helper: settled(
        sex,
        (helper, sex),
        home=AT_HOME,
        species="morelia_viridis",
        observed=probed(*(2 * [6 if sex == "male" else 1])),
    ),
    "hatchlings": lambda sex, away, helper: settled(
        sex, ("cheat", other(sex)), home=AT_HOME, stage="hatchling"
    ),
}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.some(2)
def test_ten_thousand_fabricated_animals_move_no_number_far(learned, kind):
    after = learned_with(kind)
    assert _lasting(after) == _lasting(learned), "nothing is learned, or lost, by one account"
    for name in set(after) | set(learned):
        if not name.startswith("depth_bias."):
            moved = _value(after, name) - _value(learned, name)
            assert abs(moved) <= _bound(name), name


def _lasting(learned):
    """But for what is named only where it is beyond chance."""
    return {name for name in learned if not name.startswith(("depth_bias.", "error_by_"))}


def _value(learned, name):
    return float(learned[name].value) if name in learned else 1.0


def _bound(name):
    family, last = name.partition(".")[0], name.rpartition(".")[2]
    return MOST.get(family, MOST.get(last, MOST["times"]))


def test_being_right_ten_thousand_times_makes_examiners_hardly_any_better(learned):
    after = learned_with("always right, elsewhere")
    for name in ("error.keeper.probing.male", "error.keeper.probing.female"):
        assert after[name].value > learned[name].value * 9 / 10


def test_one_account_alone_teaches_nothing():
    assert learn(fabricated("misleading, with helpers"), THIRD) == ()
