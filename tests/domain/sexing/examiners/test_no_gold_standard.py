"""Two findings and no certain answer (tests/vectors/bayes.json)."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.domain.sexing.examiners.vectors import item

from bench.examiners.beta import summary
from bench.examiners.no_gold_standard import (
    Cells,
    Priors,
    hui_walter,
    one_population,
)

HUI_WALTER = item("bayes", "hui_walter1980_two_tests_two_populations")
WORM = item("bayes", "two_tests_no_gold_standard_strongyloides")
SIGNS = ("++", "+-", "-+", "--")


def cells(counts):
    return Cells(*(counts[sign] for sign in SIGNS))


class TestHuiAndWalter:
    one, two = cells(HUI_WALTER.data["population1"]), cells(HUI_WALTER.data["population2"])

    def test_tuberculin_tests_in_two_populations(self):
        """Hui and Walter 1980, Biometrics 36, from memory; computed values beside them."""
        found = hui_walter(self.one, self.two)
        values = {
            "prevalence": found.prevalence,
            "sensitivity": found.sensitivity,
            "false_positive": found.false_positive,
            "false_negative": tuple(1 - chance for chance in found.sensitivity),
        }
        for source, within in HUI_WALTER.tolerance.items():
            for name in values.keys() & HUI_WALTER.expected[source].keys():
                expected = HUI_WALTER.expected[source][name]
                assert values[name] == pytest.approx(expected, abs=within), name
        computed = HUI_WALTER.expected["computed"]
        assert found.log_likelihood == pytest.approx(computed["log_likelihood"], abs=1e-5)
        for fitted, expected in zip(found.fitted, computed["fitted_counts"], strict=True):
            assert fitted == pytest.approx(expected, abs=1e-6)

    def test_it_does_not_matter_which_population_comes_first(self):
        one, two = hui_walter(self.one, self.two), hui_walter(self.two, self.one)
        assert one.prevalence == pytest.approx(two.prevalence[::-1])
        assert one.sensitivity == pytest.approx(two.sensitivity)

    def test_populations_alike_identify_nothing(self):
        assert hui_walter(self.one, self.one) is None

    def test_tests_that_pull_apart_have_no_answer(self):
        assert hui_walter(Cells(10, 40, 5, 45), Cells(5, 20, 40, 35)) is None
        assert hui_walter(Cells(0, 400, 400, 200), Cells(90, 410, 410, 90)) is None

    @given(
        st.tuples(st.floats(0.05, 0.4), st.floats(0.6, 0.95)),
        st.tuples(st.floats(0.7, 0.99), st.floats(0.7, 0.99)),
        st.tuples(st.floats(0.01, 0.3), st.floats(0.01, 0.3)),
    )
    def test_expected_counts_give_back_what_they_were_made_from(self, prevalence, right, false):
        """Counts so large that rounding to whole animals does not matter."""
        populations = []
        for share in prevalence:
            joint = share * np.outer((right[0], 1 - right[0]), (right[1], 1 - right[1]))
            joint += (1 - share) * np.outer((false[0], 1 - false[0]), (false[1], 1 - false[1]))
            populations.append(Cells(*(round(1e12 * chance) for chance in joint.ravel())))
        found = hui_walter(*populations)
        assert found.prevalence == pytest.approx(prevalence, abs=1e-5)
        assert found.sensitivity == pytest.approx(right, abs=1e-5)
        assert found.false_positive == pytest.approx(false, abs=1e-5)


class TestOnePopulation:
    given = WORM.data["priors"]
    priors = Priors(
        prevalence=tuple(given["prevalence"]),
        sensitivity=(tuple(given["sensitivity_serology"]), tuple(given["sensitivity_stool"])),
        specificity=(tuple(given["specificity_serology"]), tuple(given["specificity_stool"])),
    )
    counts = cells(WORM.data["counts"])

    def test_strongyloides_in_refugees(self):
        """Joseph, Gyorkos and Coupal 1995, American Journal of Epidemiology 141 (published
        summary from memory); exact posterior computed with scipy 1.17.1."""
        found = one_population(self.counts, self.priors)
        marginals = {
            "prevalence": found.prevalence,
            "sensitivity_serology": found.sensitivity[0],
            "specificity_serology": found.specificity[0],
            "sensitivity_stool": found.sensitivity[1],
            "specificity_stool": found.specificity[1],
        }
        for name, expected in WORM.expected["exact"]["posterior"].items():
            one = marginals[name]
            values = {"mean": one.mean, "sd": one.sd, "q025": one.low, "median": one.median}
            assert values | {"q975": one.high} == pytest.approx(expected, abs=1e-6), name
        chances = WORM.expected["exact"]["p_infected_given_result"]
        assert found.truly_positive == pytest.approx([chances[s] for s in SIGNS], abs=1e-6)
        published = WORM.expected["published"]
        assert found.prevalence.median == pytest.approx(published["median_prevalence"], abs=0.02)
        interval = (found.prevalence.low, found.prevalence.high)
        assert interval == pytest.approx(published["interval95_prevalence"], abs=0.02)
        for name in published.keys() & marginals.keys():
            assert marginals[name].mean == pytest.approx(published[name], abs=0.02), name

    def test_without_animals_the_priors_stand(self):
        found = one_population(Cells(0, 0, 0, 0), self.priors)
        prior = summary(self.priors.sensitivity[0])
        assert found.sensitivity[0].mean == pytest.approx(prior.mean)
        assert found.sensitivity[0].sd == pytest.approx(prior.sd)
        ends = (found.sensitivity[0].low, found.sensitivity[0].high)
        assert ends == pytest.approx((prior.low, prior.high))
        assert found.truly_positive == (None,) * 4

    def test_exchanging_the_tests_exchanges_the_answers(self):
        swapped = Priors(
            self.priors.prevalence, self.priors.sensitivity[::-1], self.priors.specificity[::-1]
        )
        both, first, second, neither = Cells(12, 20, 2, 11)
        one = one_population(Cells(both, first, second, neither), self.priors)
        two = one_population(Cells(both, second, first, neither), swapped)
        assert one.prevalence.mean == pytest.approx(two.prevalence.mean)
        assert one.sensitivity[0].median == pytest.approx(two.sensitivity[1].median)
