"""Whether both sides of a probing agree, which version 2 of the numbers looks at.

Male sides match, female sides often differ: a popular page on pet snakes says so and
gives no figures; the shares are our judgement.
"""

from itertools import product
from math import exp, log

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.domain.sexing.builders import BALL, BOA, CORN, call, probed, standing
from tests.domain.sexing.strategies import PASSES, RECORDS, TAXA

from scalewitness.domain.observations import Pass, Probing
from scalewitness.domain.sexing.depths import LAST, depth_table, depth_tables
from scalewitness.domain.sexing.findings import reading
from scalewitness.domain.sexing.likelihood import log_ratio
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.sides import MOST_PASSES, alike_by_chance, compare
from scalewitness.domain.sexing.taxa import taxon

FIRST, SECOND = load_parameters("sexing-1"), load_parameters("sexing-2")
BASE = SECOND.base
MATCH = {"male": 0.9, "female": 0.7}


def _ratio(conclusion, observed, kind=BALL, numbers=BASE):
    return log_ratio(reading(call(conclusion, observed), kind, numbers).pair)


def _moved(conclusion, observed, kind=BALL):
    """What looking at the sides adds to the log of the odds of male."""
    return _ratio(conclusion, observed, kind) - _ratio(conclusion, observed, kind, FIRST.base)


def test_ranges_of_equal_width_leave_the_plain_shares():
    """Ball pythons: 2 to 4 and 8 to 10 scales (Barker and Barker 2006), so that chance
    alone makes sides agree equally often in both sexes."""
    assert _moved("male", probed(9, 9)) == pytest.approx(log(0.9 / 0.7))
    assert _moved("male", probed(9, 8)) == pytest.approx(log(0.9 / 0.7))
    assert _moved("male", probed(10, 8.5)) == pytest.approx(log(0.1 / 0.3))


def test_alike_speaks_for_a_male_and_different_for_a_female_but_modestly():
    for kind in (BALL, CORN, BOA):
        for depths, sex in (((9, 9), "male"), ((2.5, 2.5), "female")):
            assert 0 < _moved(sex, probed(*depths), kind) < log(4)
        for depths, sex in (((8, 10), "male"), ((2, 4), "female")):
            assert -log(8) < _moved(sex, probed(*depths), kind) < 0


def test_a_side_that_differs_lowers_what_the_deeper_one_says():
    deep, uneven = (
        standing(call("male", probed(9, deeper)), parameters=FIRST) for deeper in (9, 7.5)
    )
    again = standing(call("male", probed(9, 7.5)), parameters=SECOND)
    assert again.p_male < uneven.p_male <= deep.p_male


@pytest.mark.parametrize("kind", [BALL, BOA, CORN, taxon("pituophis_ruthveni")])
@pytest.mark.parametrize("numbers", [SECOND.base, SECOND.pessimistic])
def test_it_stays_a_distribution_with_the_stated_share_of_matches(kind, numbers):
    tables = depth_tables(kind, numbers)
    for sex, table in enumerate(tables):
        share = numbers.value(f"sides.match.{('male', 'female')[sex]}")
        sums = {True: 0.0, False: 0.0}
        for left, right in product(range(0, LAST + 1), repeat=2):
            runs = probed(left / 2, right / 2).passes
            sides = compare(runs, tables, numbers)
            sums[sides.alike] += exp(table.stops[left] + table.stops[right] + sides.pair[sex])
        assert sums[True] == pytest.approx(share)
        assert sums[False] == pytest.approx(1 - share)


def test_several_passes_are_compared_by_their_means():
    table = depth_table(BALL.male_range, BASE)
    stops = [exp(one) for one in table.stops]
    by_hand = sum(
        stops[a] * stops[b] * stops[c]
        for a, b, c in product(range(LAST + 1), repeat=3)
        if abs((a + b) / 2 - c) <= 2
    )
    assert alike_by_chance(table, 2, 1, 1.0) == pytest.approx(by_hand)
    uneven = Probing((Pass("left", "8", "resistance"), *probed(9, 9.5).passes))
    assert reading(call("male", uneven), BALL, BASE).alike is True


def test_no_number_of_passes_is_too_many():
    many = probed(*[9] * 400)
    assert reading(call("male", many), BALL, BASE).alike is True
    one_sided = [Pass("left", "3", "resistance")] * MOST_PASSES
    late = Probing((*one_sided, Pass("left", "30", "resistance"), Pass("right", "3", "resistance")))
    assert reading(call("female", late), BALL, BASE).alike is True


ONE_SIDED = st.lists(PASSES, max_size=4).filter(
    lambda runs: len({run.side for run in runs if run.stopped == "resistance"}) < 2
)


@given(ONE_SIDED.map(tuple), TAXA, st.sampled_from(["male", "female", "undetermined"]))
def test_a_probing_of_one_side_is_as_in_version_1(runs, kind, conclusion):
    one = call(conclusion, Probing(runs))
    for before, after in (
        (FIRST.base, SECOND.base),
        (FIRST.pessimistic, SECOND.pessimistic),
    ):
        assert reading(one, kind, after) == reading(one, kind, before)


@given(RECORDS.map(lambda record: [one for one in record if one.method != "probing"]), TAXA)
def test_records_without_probing_are_as_in_version_1(record, kind):
    first, second = (standing(*record, taxon=kind, parameters=n) for n in (FIRST, SECOND))
    assert (second.p_male, second.label) == (first.p_male, first.label)


def test_a_call_without_conclusion_says_nothing_whatever_its_sides():
    found = reading(call("undetermined", probed(3, 9)), BALL, BASE)
    assert (found.code, found.informative) == ("undetermined", False)


def test_sides_that_outweigh_the_depths_against_the_conclusion_are_a_conflict():
    """Depths halfway between the ranges favour neither sex, their difference a female."""
    halfway = probed(7, 5)
    assert _ratio("male", halfway, BALL, FIRST.base) == pytest.approx(0, abs=1e-9)
    found = reading(call("male", halfway), BALL, BASE)
    assert found.code == "midway"
    assert not found.informative


def test_the_account_names_the_shares_and_says_it_in_words():
    found = standing(call("male", probed(9, 9)), parameters=SECOND)
    named = {(p.of, p.name): p for p in found.used}
    assert named["base", "sides.match.male"].value == MATCH["male"]
    assert named["base", "sides.match.female"].status == "our judgement"
    assert named["pessimistic", "sides.match.male"].value == 0.85
    assert "Left and right differ little, which counts slightly for male" in found.weights[0].reason
    uneven = standing(call("male", probed(9, 7)), parameters=SECOND)
    assert "Left and right differ, which counts for female" in uneven.weights[0].reason
    plain = standing(call("male", probed(9, 9)), parameters=FIRST)
    assert "sides" not in plain.weights[0].reason


def test_version_1_stays_what_it_was():
    assert (FIRST.version, SECOND.version) == ("sexing-1", "sexing-2")
    assert not any(name.startswith("sides.") for name in FIRST.base.numbers)
    shared = set(FIRST.base.numbers)
    assert {n: BASE.numbers[n] for n in shared} == dict(FIRST.base.numbers)
    assert set(BASE.numbers) - shared == {
        "sides.within",
        "sides.match.male",
        "sides.match.female",
        "linkage.misstated",
    }
    second = taxon("python_regius", "sexing-2")
    assert (second.version, second.male_range) == ("sexing-2", BALL.male_range)
