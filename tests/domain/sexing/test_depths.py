"""Probing depths: discretised ranges, lower bounds, and no universal cutoff."""

from math import exp, fsum
from statistics import NormalDist

import pytest
from tests.domain.sexing.builders import BALL, BOA, PARAMETERS, SCRUB, call, probed, standing

from scalewitness.domain.observations import Pass, Probing
from scalewitness.domain.sexing.depths import LAST, depth_table, pass_log_chance
from scalewitness.domain.sexing.findings import reading
from scalewitness.domain.sexing.likelihood import log_ratio
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.taxa import species_list

BASE = PARAMETERS.base
RANGES = sorted(
    {kind.depths(sex) for kind in species_list() for sex in ("male", "female")} - {None}
)


def _log_lr(kind, observed, conclusion):
    return log_ratio(reading(call(conclusion, observed), kind, BASE).pair)


@pytest.mark.parametrize("given", RANGES, ids=lambda ends: f"{ends[0]}-{ends[1]}")
@pytest.mark.parametrize(
    "numbers", [PARAMETERS.base, PARAMETERS.pessimistic], ids=["base", "pessimistic"]
)
def test_every_table_is_a_distribution(given, numbers):
    table = depth_table(given, numbers)
    chances = [exp(x) for x in table.stops]
    assert len(chances) == LAST + 1 == 61
    assert fsum(chances) == pytest.approx(1, abs=1e-12)
    for half in (0, 1, 17, 60):
        assert exp(table.reaches[half]) == pytest.approx(fsum(chances[half:]), abs=1e-12)


@pytest.mark.parametrize("depth", [7.5, 8, 9, 10, 11])
def test_one_depth_against_the_normal_distribution(depth):
    """Python's statistics.NormalDist; 8 to 10 scales read as mean 9, deviation ½."""
    normal = NormalDist(9, 0.5)
    expected = 0.97 * (normal.cdf(depth + 0.25) - normal.cdf(depth - 0.25)) + 0.03 / 61
    run = Pass("left", f"{depth:g}", "resistance")
    assert exp(pass_log_chance(run, depth_table(BALL.male_range, BASE))) == pytest.approx(expected)


def test_a_wide_range_has_a_wide_deviation():
    """3 to 6 scales wide: a quarter of the width, beyond the least half scale."""
    normal = NormalDist(13, 1.5)
    expected = 0.97 * (normal.cdf(10.25) - normal.cdf(9.75)) + 0.03 / 61
    table = depth_table((10, 16), BASE)
    assert exp(table.stops[20]) == pytest.approx(expected)


def test_published_ball_python_depths_read_as_published():
    """Barker and Barker 2006: females 2 to 4, males 8 to 10."""
    for depth in (2, 3, 4):
        assert _log_lr(BALL, probed(depth), "female") < -3
    for depth in (8, 9, 10):
        assert _log_lr(BALL, probed(depth), "male") > 3


def test_there_is_no_universal_cutoff():
    """Seven scales: inside the male range given for boas (6 to 9), inside the female
    range of scrub pythons (6 to 8; Australian Veterinary Association)."""
    assert _log_lr(BOA, probed(7), "male") > 3
    assert _log_lr(SCRUB, probed(7), "female") < 0
    deep_female = reading(call("male", probed(7)), SCRUB, BASE)
    assert (deep_female.code, deep_female.informative) == ("deep_in_other_sex", False)


def test_a_pass_still_gliding_is_a_lower_bound():
    gliding = _log_lr(BALL, probed(6, stopped="choice"), "male")
    assert gliding > 3
    assert _log_lr(BALL, probed(6), "male") < gliding
    assert abs(_log_lr(BALL, probed(0, stopped="choice"), "male")) < 1e-9


def test_a_shallow_lower_bound_does_not_speak_for_a_female():
    assert reading(call("female", probed(2, stopped="choice")), BALL, BASE).code == "midway"


def test_an_aborted_pass_says_nothing():
    found = reading(call("female", probed(2, 1, stopped="aborted")), BALL, BASE)
    assert (found.code, found.informative) == ("all_aborted", False)
    mixed = probed(9).passes + probed(1, stopped="aborted").passes
    with_aborted = reading(call("male", type(probed(9))(mixed)), BALL, BASE)
    assert with_aborted.pair == reading(call("male", probed(9)), BALL, BASE).pair


def test_passes_of_one_call_multiply():
    """On one side, and in version 1 on both, which does not ask whether they agree."""
    one, two = (reading(call("male", _left(9, n)), BALL, BASE) for n in (1, 2))
    assert log_ratio(two.pair) == pytest.approx(2 * log_ratio(one.pair))
    first = load_parameters("sexing-1").base
    apart = reading(call("male", probed(9, 3)), BALL, first)
    assert log_ratio(apart.pair) == pytest.approx(0)


def _left(depth, times):
    return Probing(tuple(Pass("left", str(depth), "resistance") for _ in range(times)))


def test_depths_beyond_the_table_count_as_its_last():
    table = depth_table(BALL.male_range, BASE)
    assert pass_log_chance(Pass("left", "45", "resistance"), table) == table.stops[60]


def test_a_depth_that_no_snake_comes_near_says_nothing():
    """Male ball pythons probe to 10 scales; six more speak as ten do, whatever comes after."""
    assert _log_lr(BALL, probed(16), "male") == _log_lr(BALL, probed(10), "male") > 3
    for depth in (16.5, 24, 40):
        for stopped in ("resistance", "choice"):
            found = reading(call("male", probed(depth, stopped=stopped)), BALL, BASE)
            assert (found.code, found.informative) == ("too_deep", False)


def test_beside_it_the_other_side_speaks_for_itself():
    """One slip of the pen is as likely in either sex; that the sides differ is a female's."""
    found = reading(call("female", probed(3, 24)), BALL, BASE)
    assert found.code == "partly_too_deep"
    assert log_ratio(found.pair) <= _log_lr(BALL, probed(3), "female") < -3
    line = standing(call("female", probed(3, 24))).weights[0].reason
    assert "that no snake of it is known to come near says nothing" in line


def test_probing_without_depths_counts_as_reported():
    found = reading(call("male", probed()), BALL, BASE)
    assert found.code == "conclusion_only"
    assert 0 < log_ratio(found.pair) < _log_lr(BALL, probed(9), "male")
