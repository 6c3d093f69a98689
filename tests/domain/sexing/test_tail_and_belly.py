"""Belly and tail scales counted together, and tails measured: where one sex alone is known to have
such a value it speaks, elsewhere it is silent."""

from decimal import Decimal
from math import erf, sqrt

import pytest
from tests.domain.sexing.builders import BALL, PARAMETERS, call, standing

from scalewitness.domain.observations import ScaleCount, TailLength
from scalewitness.domain.sexing.findings import reading
from scalewitness.domain.sexing.likelihood import log_ratio
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.tails import measured
from scalewitness.domain.sexing.taxa import species_list, taxon
from scalewitness.domain.sexing.words import found_in_words


def read(species, observed, conclusion="male"):
    kind = taxon(species)
    return reading(call(conclusion, observed), kind, PARAMETERS.base)


def says(species, observed):
    """The sex that the finding speaks for, or the code of its silence."""
    found = [read(species, observed, sex) for sex in ("male", "female")]
    for sex, one in zip(("male", "female"), found, strict=True):
        if one.informative:
            return sex
    return found[0].code


@pytest.mark.parametrize(
    ("species", "tail", "belly", "sex"),
    [
        # Hardy and Cole 1968: females 80 to 96, males 67 to 83.
        ("tantilla_gracilis", 45, 118, "male"),  # 73
        ("tantilla_gracilis", 40, 128, "female"),  # 88
        ("tantilla_gracilis", 42, 123, "scale_overlap"),  # 81
        ("tantilla_gracilis", 60, 120, "says_nothing"),  # 60, beyond both
        # Klauber and Smith: 109 to 132, 105 to 120.
        ("sistrurus_catenatus", 27, 150, "female"),  # 123; 27 tail scales occur in both
        # Walley and Eckerman 1999: females 98 to 130, males 79 to 112; all three may speak.
        ("heterodon_nasicus", 45, 130, "male"),
        ("heterodon_nasicus", 37, 145, "scale_overlap"),
        # Two characters against each other.
        ("heterodon_nasicus", 30, 130, "scales_disagree"),
        ("python_regius", 30, 200, "no_scale_ranges"),
    ],
)
def test_counts_of_belly_and_tail_speak_together(species, tail, belly, sex):
    assert says(species, ScaleCount(tail, belly)) == sex


@pytest.mark.parametrize(
    ("species", "tail", "total", "sex"),
    [
        # Powell et al. 1994: females 0.14 to 0.195 of the whole length, males 0.185 to 0.23.
        ("virginia_striatula", 42, 200, "male"),
        ("virginia_striatula", 32, 200, "female"),
        ("virginia_striatula", 38, 200, "scale_overlap"),
        ("virginia_striatula", 60, 200, "says_nothing"),
        # Fitch 1963: females 0.26 to 0.28 of body length, males 0.28 to 0.31.
        ("coluber_constrictor", 230, 1000, "male"),  # 0.2987 of the body
        ("coluber_constrictor", 213, 1000, "female"),  # 0.2706
        # Averages alone separate nothing.
        ("bitis_gabonica", 120, 1000, "no_tails"),
        ("dolichophis_caspius", 274, 1000, "no_tails"),
        ("python_regius", 80, 1000, "no_tails"),
    ],
)
def test_a_tail_speaks_where_one_sex_alone_has_it(species, tail, total, sex):
    assert says(species, TailLength(tail, total)) == sex


def test_however_many_agree_they_weigh_as_one():
    alone = read("heterodon_nasicus", ScaleCount(45))
    together = read("heterodon_nasicus", ScaleCount(45, 130))
    assert log_ratio(alone.pair) == log_ratio(together.pair)


def test_at_least_eight_taxa_can_be_told_by_belly_less_tail_or_by_tail():
    found = {
        kind.key
        for kind in species_list()
        for character in ("ventrals_less_subcaudals", "tail_over_total", "tail_over_body")
        for ends in kind.spans(character)
        for value in ends
        if kind.only_in(character, value)
    }
    assert len(found) >= 8, sorted(found)
    assert {"tantilla_gracilis", "micrurus_fulvius", "coluber_constrictor"} <= found


def test_a_difference_of_two_spans_is_as_wide_as_it_can_be():
    """Females 139 to 156 belly and 26 to 41 tail scales: from 139 - 41 to 156 - 26."""
    assert taxon("heterodon_nasicus").span("ventrals_less_subcaudals", "female") == (98, 130)
    assert taxon("tantilla_gracilis").span("ventrals_less_subcaudals", "male") == (67, 83)


def normal_below(value, mean, sd):
    return (1 + erf((value - mean) / (sd * sqrt(2)))) / 2


def test_the_weight_of_a_count_is_no_more_than_the_published_figures_give():
    """Hardy and Cole 1968: 88.8 (standard error 0.39, 79 females), 73.8 (0.28, 109 males); of males
    97 in 100 lie below every female, of females 4 in 1,000 below 80."""
    females, males = (88.8, 0.39 * sqrt(79)), (73.8, 0.28 * sqrt(109))
    right, wrong = normal_below(79.5, *males), normal_below(79.5, *females)
    assert (right, wrong) == (pytest.approx(0.974, abs=0.001), pytest.approx(0.004, abs=0.001))
    numbers = PARAMETERS.base
    assert numbers.value("scale_count.males_only.any.male") <= right
    assert numbers.value("scale_count.males_only.any.female") >= wrong


def test_tails_that_overlap_as_published_would_sort_too_few():
    """Acta Herpetologica 2021: 0.274 (0.017) and 0.257 (0.018); by the middle 69 in 100."""
    share = normal_below(0.2655, 0.257, 0.018), 1 - normal_below(0.2655, 0.274, 0.017)
    assert sum(share) / 2 == pytest.approx(0.69, abs=0.005)


def test_nothing_of_it_weighs_in_earlier_versions():
    for version in ("sexing-1", "sexing-2"):
        numbers = load_parameters(version).base
        kind = taxon("virginia_striatula", version)
        assert not reading(call("male", TailLength(42, 200)), kind, numbers).informative


def test_it_is_told_as_it_was_measured_with_its_sources():
    count = call("male", ScaleCount(45, 118))
    found = standing(count, taxon=taxon("tantilla_gracilis"))
    assert found.p_male > 0.85
    sources = {one.source for one in found.used}
    assert any(one.startswith("Hardy and Cole 1968") for one in sources)
    assert (
        found_in_words(ScaleCount(45, 118))
        == "Counted 45 scales under the tail and 118 on the belly"
    )
    assert found_in_words(TailLength(42, 200)) == "Measured 42 mm of tail in 200 mm of snake"


def test_a_tail_as_long_as_the_animal_is_no_measure():
    assert measured(TailLength(200, 200)) == {}
    assert measured(TailLength(20, 100))["tail_over_body"] == Decimal("0.25")
    assert not reading(call("male", TailLength(200, 200)), BALL, PARAMETERS.base).informative
