"""What single findings say, method by method."""

from math import exp

import pytest
from tests.domain.sexing.builders import BALL, CORN, MASSASAUGA, PARAMETERS, call, probed

from scalewitness.domain.observations import (
    Dna,
    Endoscopy,
    Eversion,
    Hearsay,
    Radiography,
    Reproduction,
    ScaleCount,
    Ultrasound,
    Visual,
)
from scalewitness.domain.sexing.findings import reading
from scalewitness.domain.sexing.likelihood import log_ratio
from scalewitness.domain.sexing.taxa import taxon

BURMESE = taxon("python_bivittatus")
CARPET = taxon("morelia_spilota")


def _read(conclusion, observed, kind=BALL, **other):
    return reading(call(conclusion, observed, **other), kind, PARAMETERS.base)


def _ratio(conclusion, observed, kind=BALL, **other):
    """How many times likelier in a male than in a female."""
    return exp(log_ratio(_read(conclusion, observed, kind, **other).pair))


def test_a_hatchlings_hemipenes_are_strong_and_their_absence_weak():
    """Asymmetry reasoned, not published: no accuracy of eversion was found."""
    seen = _ratio("male", Eversion("manual", "hemipenes"), stage="hatchling")
    absent = 1 / _ratio("female", Eversion("manual", "nothing"), stage="hatchling")
    assert seen > 50
    assert 2 < absent < 6


def test_seeing_nothing_weighs_less_the_older_the_animal():
    """Later eversion often fails (a veterinary laboratory's page)."""
    weights = [
        1 / _ratio("female", Eversion("manual", "nothing"), stage=stage)
        for stage in ("hatchling", "juvenile", "adult")
    ]
    assert weights == sorted(weights, reverse=True)
    assert weights[-1] < 1.25


def test_nothing_seen_of_its_own_accord_says_nothing():
    assert not _read("female", Eversion("spontaneous", "nothing")).informative


@pytest.mark.parametrize(
    ("kind", "system", "found", "conclusion", "code"),
    [
        (CORN, "ZW", "heterogametic", "female", "finding_read"),
        (CORN, "ZW", "homogametic", "male", "finding_read"),
        (BURMESE, "XY", "heterogametic", "male", "finding_read"),
        (BURMESE, "XY", "homogametic", "female", "finding_read"),
        (CORN, "ZW", "failed", "male", "assay_failed"),
        (CORN, "XY", "heterogametic", "male", "wrong_sex_system"),
        (BURMESE, "ZW", "heterogametic", "female", "wrong_sex_system"),
        (BALL, "XY", "heterogametic", "male", "no_dna_test"),
        (BALL, "ZW", "heterogametic", "female", "wrong_sex_system"),
        (CARPET, "XY", "heterogametic", "male", "sex_system_unknown"),
    ],
)
def test_dna_counts_only_where_the_assay_fits(kind, system, found, conclusion, code):
    """Tawichasri et al. 2017: Z/W markers worked in 17 caenophidian species and in none of
    5 boas and pythons; Gamble et al. 2017: male markers, not shown for ball pythons."""
    read = _read(conclusion, Dna(system, "shed", found), kind)
    assert read.code == code
    assert read.informative == (code == "finding_read")
    if read.informative:
        assert (log_ratio(read.pair) > 0) == (conclusion == "male")


def test_a_w_marker_does_not_rule_out_a_male():
    """A ZZW triploid ratsnake was male (2018, Sex Dev, doi 10.1159/000490124)."""
    read = _read("female", Dna("ZW", "blood", "heterogametic"), CORN)
    assert exp(read.pair[0]) >= 0.001


@pytest.mark.parametrize(
    ("subcaudals", "conclusion", "code"),
    [
        (19, "female", "finding_read"),
        (24, "female", "finding_read"),
        (25, "female", "scale_overlap"),
        (27, "male", "scale_overlap"),
        (29, "male", "scale_overlap"),
        (30, "male", "finding_read"),
        (33, "male", "finding_read"),
        (34, "male", "says_nothing"),
        (24, "male", "conflict"),
    ],
)
def test_massasauga_counts_from_25_to_29_abstain(subcaudals, conclusion, code):
    """Klauber, as reported by a zoo: males 25–33, females 19–29."""
    read = _read(conclusion, ScaleCount(subcaudals), MASSASAUGA)
    assert read.code == code
    assert read.informative == (code == "finding_read")


def test_scale_counts_of_other_species_say_nothing():
    assert _read("male", ScaleCount(31), BALL).code == "no_scale_ranges"


def test_contrast_radiography_weighs_as_published():
    """Tan, Poetri and Ulum: 75 % of reticulated pythons correct."""
    assert _ratio("male", Radiography(True, "hemipenes")) == pytest.approx(3)
    assert _ratio("female", Radiography(True, "none")) == pytest.approx(1 / 3)
    plain = _ratio("female", Radiography(False, "none"))
    assert 1 / 3 < plain < 1


def test_ultrasound_of_hatchlings_weighs_less():
    ages = [
        _ratio("male", Ultrasound("hemipenes"), stage=stage) for stage in ("hatchling", "adult")
    ]
    assert 1 < ages[0] < ages[1]


def test_gonads_seen_weigh_most():
    others = [
        _ratio("male", probed()),
        _ratio("male", Ultrasound("testes")),
        _ratio("male", Eversion("manual", "hemipenes"), stage="hatchling"),
    ]
    assert _ratio("male", Endoscopy("testes")) > 10 * max(others)


def test_eggs_seen_laid_weigh_more_than_eggs_found():
    seen, found = (1 / _ratio("female", Reproduction("laid_eggs", w)) for w in (True, False))
    assert seen > 50 * found / 2
    assert found > 5


@pytest.mark.parametrize("source", ["seller", "earlier_keeper", "papers"])
def test_statements_are_weak(source):
    assert 1 < _ratio("male", Hearsay(source)) < 2


def test_looks_are_weak_and_weaker_in_the_young():
    """Aubret et al. 2005: dimorphism often undetectable in newborn ball pythons."""
    for feature in ("tail", "spurs"):
        young = _ratio("male", Visual(feature), stage="hatchling")
        assert 1 < young < 1.3 < _ratio("male", Visual(feature), stage="adult") < 3
    assert not _read("male", Visual("size"), stage="hatchling").informative


def test_absent_slough_plugs_prove_nothing():
    assert _read("female", Visual("slough_plugs")).code == "says_nothing"
    assert _ratio("male", Visual("slough_plugs")) > 2


@pytest.mark.parametrize(
    "observed",
    [probed(9, 9), Eversion("manual", "hemipenes"), Ultrasound("testes"), Hearsay("seller")],
)
def test_no_conclusion_says_nothing(observed):
    assert _read("undetermined", observed).code == "undetermined"
    assert not _read("undetermined", observed).informative


@pytest.mark.parametrize(
    ("conclusion", "observed"),
    [
        ("male", probed(3, 3)),
        ("male", Ultrasound("follicles")),
        ("female", Endoscopy("testes")),
        ("male", Reproduction("gave_birth", True)),
    ],
)
def test_a_conclusion_against_what_was_seen_says_nothing(conclusion, observed):
    read = _read(conclusion, observed)
    assert (read.code, read.informative) == ("conflict", False)


@pytest.mark.parametrize(
    "observed",
    [Ultrasound("unclear"), Endoscopy("unclear"), Eversion("manual", "unclear")],
)
def test_unclear_pictures_say_nothing(observed):
    assert _read("male", observed).code == "unclear"


def test_a_call_on_another_animal_says_nothing():
    read = _read("male", probed(9, 9), identity="mismatch")
    assert (read.code, read.informative) == ("other_animal", False)
