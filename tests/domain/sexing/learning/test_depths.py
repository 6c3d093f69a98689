"""Depths of species, habits of examiners, sizes: against what animals were drawn by."""

import re
from decimal import Decimal

import numpy as np
import pytest
from scipy import stats
from tests.domain.sexing.builders import call, probed, standing
from tests.domain.sexing.learning.settled import THIRD, by_name, many, settled, snakes

from scalewitness.domain.sexing.explain import explain
from scalewitness.domain.sexing.learning.depths import DepthProfile, _middle, _spread, log_score
from scalewitness.domain.sexing.learning.learn import learn
from scalewitness.domain.sexing.learning.numbers import with_learned
from scalewitness.domain.sexing.learning.settled import looks_at
from scalewitness.domain.sexing.learning.sizes import _ratio
from scalewitness.domain.sexing.taxa import as_learned, taxon

GREEN = "morelia_viridis"  # no source gives its depths


def middles(learned, species=GREEN):
    found = by_name(learned)
    return [
        found.get(f"depth.{species}.{sex}.{what}")
        for sex in ("male", "female")
        for what in ("middle", "spread")
    ]


def test_depths_come_back_that_snakes_were_drawn_by():
    found = middles(learn(snakes(600, (8, 0.9), (2.5, 0.7), GREEN), THIRD))
    drawn = (8, 0.9, 2.5, 0.7)
    for one, true in zip(found, drawn, strict=True):
        assert abs(float(one.value) - true) < 0.25, one


def test_depths_held_before_count_like_so_many_animals():
    few = middles(learn(snakes(60, (8, 0.9), (2.5, 0.7), GREEN), THIRD))
    more = middles(learn(snakes(600, (8, 0.9), (2.5, 0.7), GREEN), THIRD))
    held = 11  # of snakes in general
    assert 8 < more[0].value < few[0].value < held


def test_learned_depths_verify_where_borrowed_ones_never_do():
    learned = with_learned(
        THIRD, learn(snakes(600, (8, 0.9), (2.5, 0.7), GREEN), THIRD), "sexing-3.1"
    )
    calls = [call("male", probed(8, 8), who) for who in ("ash", "birch", "cedar")]
    before = standing(*calls, taxon=taxon(GREEN), parameters=THIRD)
    after = standing(*calls, taxon=taxon(GREEN), parameters=learned)
    assert (before.label, after.label) == ("probable male", "verified male")
    named = {one.name for one in after.used if one.status == "learned here"}
    assert any("depth" in one for one in named)


def test_a_page_says_where_depths_were_learned_and_no_longer_that_nobody_knows():
    learned = with_learned(THIRD, learn(snakes(600, (8, 0.9), (2.5, 0.7), GREEN), THIRD))
    calls = [call("male", probed(8, 8))]
    kind = as_learned(taxon(GREEN), learned.base)
    found = standing(*calls, taxon=taxon(GREEN), parameters=learned)
    text = " ".join(line.text for line in explain(found, calls, kind))
    assert "nobody has published" not in text
    assert re.search(
        r"learned from this record: \d+ males and \d+ females settled in 12 coll", text
    )
    assert re.search(r"In this species females usually probe 1(\.\d)? to \d(\.\d)? scales", text)


@pytest.mark.parametrize(("males", "females", "homes"), [(19, 40, 12), (40, 19, 12), (40, 40, 4)])
def test_depths_take_twenty_of_each_sex_in_five_collections(males, females, homes):
    both = snakes(400, (8, 0.9), (2.5, 0.7), GREEN, homes=homes)
    some = [
        *[one for one in both if one.sex == "male"][:males],
        *[one for one in both if one.sex == "female"][:females],
    ]
    assert middles(learn(some, THIRD)) == [None] * 4


def test_depths_that_score_no_better_on_other_collections_are_not_learned():
    """Both sexes alike in every collection but one tells collections, not sexes, apart."""
    rng = np.random.default_rng(4)
    animals = []
    for n in range(240):
        sex, home = ("male", "female")[n % 2], n % 12
        deep = (sex == "male") == (home % 2 == 0)
        depth = (11 if deep else 3) + round(2 * rng.normal(0, 0.5)) / 2
        animals.append(
            settled(
                sex,
                (f"k{n % 30}", sex),
                home=f"h{home}",
                species=GREEN,
                observed=probed(depth, depth),
            )
        )
    assert middles(learn(animals, THIRD)) == [None] * 4


def test_the_score_is_the_log_of_what_one_check_gives_the_settled_sex():
    animal = settled("female", ("ash", "female"), species=GREEN, observed=probed(2.5, 3))
    (score,) = log_score(taxon(GREEN), looks_at([animal]), THIRD)
    alone = standing(*animal.checks, taxon=taxon(GREEN), parameters=THIRD)
    assert score == pytest.approx(np.log(1 - alone.p_male), rel=1e-9)


def test_the_intervals_of_a_depth_are_those_of_a_normal_sample():
    middle, spread = _middle(DepthProfile(8, 1.5, 40)), _spread(DepthProfile(8, 1.5, 40))
    assert (middle.low, middle.high) == pytest.approx(stats.norm(8, 1.5 / 40**0.5).interval(0.95))
    ends = [1.5 * (40 / stats.chi2(40).ppf(p)) ** 0.5 for p in (0.975, 0.025)]
    assert (spread.low, spread.high) == pytest.approx(ends)


def test_the_pessimistic_set_has_the_sexes_nearer_to_each_other():
    learned = with_learned(THIRD, learn(snakes(600, (8, 0.9), (2.5, 0.7), GREEN), THIRD))
    base, worse = (as_learned(taxon(GREEN), one) for one in (learned.base, learned.pessimistic))
    assert worse.male_range[0] < base.male_range[0]
    assert worse.female_range[1] > base.female_range[1]
    assert base.ground == worse.ground == "learned here"


# --- habits and sizes ---------------------------------------------------------------------


def test_an_examiner_who_counts_one_scale_deeper_is_read_as_others_are():
    animals = snakes(900, (9, 0.5), (3, 0.5), "python_regius", bias={"keeper-3": 1.0}, people=12)
    found = by_name(learn(animals, THIRD))
    habits = {name: one.value for name, one in found.items() if name.startswith("depth_bias.")}
    assert habits == {"depth_bias.keeper-3": Decimal("1.0000")}
    learned = with_learned(THIRD, tuple(found.values()))
    deep = standing(call("female", probed(4.5, 4.5), "keeper-3"), parameters=learned)
    as_others = standing(call("female", probed(3.5, 3.5), "keeper-4"), parameters=learned)
    assert deep.p_male == pytest.approx(as_others.p_male, abs=1e-12)


def test_a_habit_takes_ten_animals_in_five_collections():
    animals = snakes(60, (9, 0.5), (3, 0.5), "python_regius", bias={"keeper-3": 1.0}, homes=4)
    assert not any(one.name.startswith("depth_bias.") for one in learn(animals, THIRD))


def test_a_size_that_is_misread_more_often_counts_for_less():
    animals = [
        *many(800, wrong=0.03, seed=1, stage="adult"),
        *many(800, wrong=0.18, seed=2, stage="hatchling"),
    ]
    found = by_name(learn(animals, THIRD))
    assert (
        found["error_by_stage.probing.hatchling"].low
        > 1
        > found["error_by_stage.probing.adult"].high
    )
    learned = with_learned(THIRD, tuple(found.values()))
    young, old = (
        standing(call("female", probed(3, 3), stage=stage), parameters=learned).p_male
        for stage in ("hatchling", "adult")
    )
    assert young > old


def test_a_probe_too_fine_for_the_animal_misleads_about_females():
    fine = type(probed(9))(probed(9, 9).passes, probe_mm="0.8")
    wrongly = many(400, wrong=0.02, sex="female", seed=1)
    for n in range(120):
        said = "male" if n % 4 == 0 else "female"
        seen = fine if said == "male" else type(fine)(probed(3, 3).passes, probe_mm="0.8")
        wrongly.append(
            settled("female", (f"keeper-{n % 60}", said), home=f"home-{n % 60}", observed=seen)
        )
    found = by_name(learn(wrongly, THIRD))
    assert found["error_by_probe.fine.female"].low > 1
    assert "error_by_probe.fine.male" not in found


def test_a_ratio_is_that_of_a_gamma_distribution():
    found = _ratio(30, 12)
    expected = stats.gamma(50, scale=1 / 32)
    assert found == pytest.approx((expected.mean(), expected.ppf(0.025), expected.ppf(0.975)))
