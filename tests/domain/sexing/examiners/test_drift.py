"""Drift of an examiner towards one sex, on hatchlings."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.domain.sexing.examiners.vectors import item

from scalewitness.domain.sexing.examiners.drift import WARN_BELOW, Hatchlings, drift

pytestmark = pytest.mark.one_in(2)

POOLED = item("binomial_sex_ratio", "pooled_clutches_made_up")
SAXONY = item("binomial_sex_ratio", "geissler_saxony_families_of_12")


def test_the_report_on_pooled_clutches():
    """The pooled and the heterogeneity figures of the file, taken together."""
    said = drift([Hatchlings(k, n - k) for k, n in POOLED.data["clutches"]])
    pooled = POOLED.expected["pooled"]
    assert (said.males, said.sexed, said.clutches) == (27, 51, 6)
    assert said.share == pytest.approx(27 / 51)
    assert said.p_exact == pytest.approx(pooled["p_two_sided"], abs=1e-6)
    assert said.exact == pytest.approx(pooled["clopper_pearson"], abs=1e-6)
    assert said.wilson == pytest.approx(pooled["wilson"], abs=1e-6)
    expected = POOLED.expected["heterogeneity"]["p_chi2"]
    assert said.p_differing == pytest.approx(expected, abs=1e-6)
    assert said.p == max(said.p_exact, said.p_overdispersed) > WARN_BELOW
    assert said.towards is None


def test_saxony_drifts_towards_boys_even_with_its_families_varying():
    rows = zip(SAXONY.data["boys"], SAXONY.data["families"], strict=True)
    said = drift([Hatchlings(k, 12 - k) for k, n in rows for _ in range(n)])
    assert said.towards == "male"
    assert said.rho == pytest.approx(0.014997, abs=1e-6)
    assert said.p_exact < said.p_overdispersed == said.p < 1e-15
    assert said.p_varying < 1e-20


def test_nothing_sexed_is_no_drift():
    assert drift([]) is None
    assert drift([Hatchlings(0, 0)]) is None


def test_a_single_clutch_is_tested_exactly_and_no_other_way():
    said = drift([Hatchlings(0, 12), Hatchlings(0, 0)])
    assert said.p == said.p_exact == pytest.approx(2 * 0.5**12)
    assert (said.clutches, said.towards, said.rho) == (1, "female", 0)
    assert said.p_overdispersed is said.p_varying is said.p_differing is None


def test_clutches_that_go_either_way_are_not_drift():
    """Pooled, 60 to 20 looks like drift; the clutches say it is the clutches."""
    alternating = [Hatchlings(10, 0)] * 6 + [Hatchlings(0, 10)] * 2
    said = drift(alternating)
    assert said.p_exact < WARN_BELOW < said.p
    assert said.towards is None
    assert said.p_varying < 1e-6


def test_a_species_with_another_ratio():
    """Cuban boas: 174 males to 132 females (Frynta et al. 2016)."""
    clutch = [Hatchlings(174, 132)]
    assert drift(clutch).p < 0.05 < drift(clutch, expected=174 / 306).p


@settings(max_examples=30)
@given(st.lists(st.builds(Hatchlings, st.integers(0, 9), st.integers(0, 9)), max_size=8))
def test_swapping_the_sexes_mirrors_the_drift(clutches):
    one = drift(clutches)
    two = drift([Hatchlings(c.females, c.males) for c in clutches])
    if one is None:
        assert two is None
        return
    assert one.share == pytest.approx(1 - two.share)
    assert one.p == pytest.approx(two.p, abs=1e-6)
    mirror = {"male": "female", "female": "male", None: None}
    assert one.towards == mirror[two.towards]


def test_honest_examiners_are_rarely_named():
    """400 examiners with ten clutches of eight: at 1 % some four would be named under an
    exact test; varying clutches must not raise that."""
    generator = np.random.default_rng(19)
    named = 0
    for _ in range(400):
        shares = generator.beta(8, 8, size=10)
        males = generator.binomial(8, shares)
        named += drift([Hatchlings(int(k), 8 - int(k)) for k in males]).towards is not None
    assert named <= 12


def test_a_drifting_examiner_is_named():
    """An examiner who calls one male in four a female, over forty clutches."""
    generator = np.random.default_rng(23)
    males = generator.binomial(8, 0.5 * 0.75, size=40)
    said = drift([Hatchlings(int(k), 8 - int(k)) for k in males])
    assert said.towards == "female"
