"""The pooled model against published fits (tests/vectors: dawid_skene_1979.json,
crowd_binary_bluebird.json, latent_class_binary.json)."""

import numpy as np
import pytest
from tests.domain.sexing.examiners.vectors import from_patterns, item, load

from bench.examiners.information import aic, bic
from scalewitness.domain.sexing.examiners.labels import labels
from scalewitness.domain.sexing.examiners.pool import averaged, fit, majority
from scalewitness.domain.sexing.examiners.starts import compare, named

ANAESTHETISTS = load("dawid_skene_1979")
BIRDS = load("crowd_binary_bluebird")
LATENT = load("latent_class_binary")["data"]


def anaesthetists():
    """Dawid and Skene 1979, Applied Statistics 28, table 1: 45 patients, five observers, the
    first of whom read three times."""
    rows = np.array(ANAESTHETISTS["data"]["rows"]) - 1
    observer = np.array([0, 0, 0, 1, 2, 3, 4])
    patient, column = np.indices(rows.shape)
    return labels(patient.ravel(), observer[column.ravel()], rows.ravel(), classes=4)


def birds():
    """Welinder et al. 2010: 39 people on 108 photographs."""
    data = BIRDS["data"]["bluebird"]
    answers = np.array([[int(c) for c in row] for row in data["labels_by_worker"].values()])
    person, photograph = np.indices(answers.shape)
    return labels(photograph.ravel(), person.ravel(), answers.ravel())


def binary(name, classes=2):
    return from_patterns([tuple(pattern) for pattern in LATENT[name]["patterns"]], classes)


def best_of(of, starts, seed):
    """The highest fit, whichever class is called which."""
    generator = np.random.default_rng(seed)
    fits = [
        fit(of, generator.dirichlet(np.ones(of.classes), of.animals), most=4000)
        for _ in range(starts)
    ]
    return max(fits, key=lambda one: one.log_likelihood)


class TestDawidAndSkene1979:
    expected = ANAESTHETISTS["expected"]

    def test_all_264_published_values(self):
        """Two decimals of prevalence, error rates and patients' classes, tables 2 and 4."""
        found, published = fit(anaesthetists()), self.expected["published_2dp"]
        tables = np.array(list(published["error_rates"].values()))
        values = [
            (found.prevalence, published["class_prevalence"]),
            (found.tables, tables),
            (found.posterior, published["patient_posteriors"]),
        ]
        assert sum(np.size(theirs) for _, theirs in values) == 264
        within = ANAESTHETISTS["tolerance"]["published_2dp"]
        for ours, theirs in values:
            assert ours == pytest.approx(np.array(theirs), abs=within + 1e-6)
        assert found.converged

    @pytest.mark.parametrize("leaps", [False, True])
    def test_exact_em(self, leaps):
        """Computed with numpy 2.4.6, plain EM from the averaged start."""
        found, exact = fit(anaesthetists(), leaps=leaps), self.expected["exact_em"]
        assert found.prevalence == pytest.approx(np.array(exact["class_prevalence"]), abs=1e-6)
        tables = np.array(list(exact["error_rates"].values()))
        assert found.tables == pytest.approx(tables, abs=1e-6)
        posteriors = np.array(exact["patient_posteriors"])
        assert found.posterior == pytest.approx(posteriors, abs=1e-6)
        assert found.log_likelihood == pytest.approx(exact["log_likelihood"], abs=1e-6)
        assert (found.most_likely + 1).tolist() == exact["most_probable_class"]

    def test_the_course_of_plain_em(self):
        heights = fit(anaesthetists(), leaps=False).heights
        exact = self.expected["exact_em"]
        for iteration, height in exact["log_likelihood_after_iteration"].items():
            assert heights[int(iteration) - 1] == pytest.approx(height, abs=1e-6)
        rises = np.diff(heights)
        for rule, iterations in exact["iterations_to"].items():
            assert int(np.argmax(rises < float(rule.split("<")[1]))) + 2 == iterations

    def test_crowd_kit_run_to_convergence(self):
        """crowd-kit 1.4.2 with early stopping switched off."""
        theirs = self.expected["crowd_kit_converged"]["class_prevalence"]
        assert fit(anaesthetists()).prevalence == pytest.approx(np.array(theirs), abs=1e-6)

    def test_the_majority_and_where_the_model_overrules_it(self):
        """Patient 12 has a tie, which the file breaks and the start shares."""
        expected, shares = self.expected["majority_vote"], majority(anaesthetists())
        patients = np.arange(45)
        assert (shares[patients, np.array(expected["labels"]) - 1] > 0).all()
        assert (np.flatnonzero(shares.max(1) < 1) + 1).tolist() == [12]
        found = fit(anaesthetists()).most_likely
        overruled = {
            str(patient + 1): {
                "majority": int(shares[patient].argmax()) + 1,
                "dawid_skene": int(found[patient]) + 1,
            }
            for patient in np.flatnonzero(shares[patients, found] == 0)
        }
        assert overruled == expected["patients_where_majority_differs_from_most_probable_class"]

    def test_the_published_solution_is_not_the_highest(self):
        """Maxima listed in the file, reached from at least three of 300 random starts; all
        that more than eight of theirs reached are reached by some of ours, and none
        higher."""
        listed = self.expected["local_maxima"]
        hard = fit(anaesthetists(), majority(anaesthetists()))
        start = listed["start_from_hard_majority_labels"]
        assert hard.log_likelihood == pytest.approx(start["log_likelihood"], abs=0.001)
        assert hard.prevalence == pytest.approx(np.array(start["class_prevalence"]), abs=1e-5)
        compared = compare(anaesthetists(), np.random.default_rng(1979), 300)
        assert compared.differ
        assert compared.outdone
        own, best = compared.averaged.log_likelihood, listed["best_of_300_random_starts"]
        published = listed["log_likelihood_of_published_solution"]
        assert own == pytest.approx(published, abs=0.001)
        assert compared.best.log_likelihood == pytest.approx(best["log_likelihood"], abs=0.001)
        theirs = np.array(best["class_prevalence"])
        assert compared.best.prevalence == pytest.approx(theirs, abs=1e-5)
        assert (compared.best.most_likely + 1).tolist() == best["most_probable_class"]
        for height, times in listed["distinct_log_likelihoods_reached_by_at_least_3_starts"]:
            if times > 8:
                assert min(abs(np.array(compared.heights) - height)) < 0.001, height


class TestBluebirds:
    expected = BIRDS["expected"]["bluebird"]
    truth = np.array([int(c) for c in BIRDS["data"]["bluebird"]["truth"]])

    def test_the_majority_is_right_on_82(self):
        votes = majority(birds())
        assert (
            int((votes.argmax(1) == self.truth).sum()) == self.expected["majority_vote"]["correct"]
        )
        assert not (votes == 0.5).any()
        assert int(self.truth.sum()) == self.expected["truth_positive"]

    @pytest.mark.parametrize("leaps", [False, True])
    def test_the_model_is_right_on_97(self, leaps):
        """As crowd-kit 1.4.2 at convergence, and the exact EM of the file."""
        found, exact = fit(birds(), leaps=leaps), self.expected["exact_em"]
        right = int((found.most_likely == self.truth).sum())
        assert right == exact["correct"] == self.expected["dawid_skene_converged"]["correct"] == 97
        assert "".join(map(str, found.most_likely)) == exact["predicted"]
        assert found.log_likelihood == pytest.approx(exact["log_likelihood"], abs=0.001)
        assert found.prevalence[1] == pytest.approx(exact["prior_class1"], abs=1e-5)
        posterior = np.array(exact["posterior_class1"])
        assert found.posterior[:, 1] == pytest.approx(posterior, abs=1e-5)
        names = BIRDS["data"]["bluebird"]["item_ids"]
        wrong = [names[at] for at in np.flatnonzero(found.most_likely != self.truth)]
        assert wrong == exact["wrong_items"]

    def test_every_persons_table(self):
        found = fit(birds())
        for tables, (person, expected) in zip(
            found.tables, self.expected["exact_em"]["worker"].items(), strict=True
        ):
            rates = (tables[1, 1], tables[0, 1])
            theirs = (expected["sensitivity"], expected["false_positive_rate"])
            assert rates == pytest.approx(theirs, abs=1e-5), person

    def test_random_starts_come_home_with_the_right_names(self):
        """Random starts can end with the classes exchanged (note in the file)."""
        compared = compare(birds(), np.random.default_rng(7), 12)
        assert (compared.best.most_likely == self.truth).mean() >= 97 / 108
        swapped = fit(birds(), 1 - averaged(birds()))
        assert (named(birds(), swapped).most_likely == self.truth).sum() == 97


NAMES = [
    "dentists_caries_5x3869",
    "myocardial_infarction_4_tests",
    "hiv_4_assays_428",
    "carcinoma_7_pathologists_118",
]


class TestLatentClasses:
    """Two latent classes are Dawid and Skene with two labels (latent_class_binary.json)."""

    @pytest.mark.parametrize("name", NAMES)
    def test_exact_em(self, name):
        """Computed with numpy 2.4.6, best of at least 25 random starts."""
        of, (_, expected, tolerance) = binary(name), item("latent_class_binary", name)
        exact, within = expected["exact_em"], tolerance["exact_em"]
        found = named(of, best_of(of, 12, seed=52))
        assert found.converged
        assert found.prevalence[1] == pytest.approx(exact["prevalence_class1"], abs=within)
        assert found.tables[:, 1, 1] == pytest.approx(np.array(exact["sensitivity"]), abs=within)
        false = np.array(exact["false_positive_rate"])
        assert found.tables[:, 0, 1] == pytest.approx(false, abs=within)
        assert found.log_likelihood == pytest.approx(exact["log_likelihood"], abs=1e-4)
        assert (aic(found), bic(found)) == pytest.approx((exact["AIC"], exact["BIC"]), abs=5e-4)
        posteriors = np.array(exact["posterior_class1_by_pattern"])
        seen = of.times > 0
        assert found.posterior[seen, 1] == pytest.approx(posteriors[seen], abs=within)

    @pytest.mark.parametrize("name", NAMES)
    def test_fitted_counts(self, name):
        exact = item("latent_class_binary", name).expected["exact_em"]
        of = binary(name)
        found = named(of, best_of(of, 12, seed=52))
        chances = [
            sum(
                found.prevalence[c]
                * np.prod([found.tables[e, c, int(digit)] for e, digit in enumerate(pattern)])
                for c in (0, 1)
            )
            for pattern, _ in LATENT[name]["patterns"]
        ]
        counts = np.array(chances) * of.times.sum()
        assert counts == pytest.approx(np.array(exact["fitted_counts"]), abs=2e-3)

    @pytest.mark.parametrize("classes", [1, 2, 3, 4])
    def test_dentists_by_number_of_classes(self, classes):
        """BIC printed by R package randomLCA 1.1-4."""
        name = "dentists_caries_5x3869"
        published = item("latent_class_binary", name).expected["published"]
        found = best_of(binary(name, classes), 1 if classes == 1 else 8, seed=9)
        theirs = published["bic_by_number_of_classes"][str(classes)]
        assert bic(found) == pytest.approx(theirs, abs=0.01)

    def test_dentists_with_a_random_effect(self):
        pytest.skip("another model: answers tied by a random effect, not independent by class")

    def test_majority_of_the_dentists(self):
        name = "dentists_caries_5x3869"
        of, expected = binary(name), item("latent_class_binary", name).expected
        positive = float(of.times @ majority(of)[:, 1]) / of.times.sum()
        assert positive == pytest.approx(expected["majority_vote_positive_fraction"], abs=1e-8)

    def test_infarction_as_published(self):
        """Rindskopf and Rindskopf 1986, printed by R package randomLCA 1.1-4, which keeps
        chances off 0 and 1 by a small penalty."""
        name = "myocardial_infarction_4_tests"
        of, published = binary(name), item("latent_class_binary", name).expected["published"]
        found = named(of, best_of(of, 12, seed=3))
        assert found.prevalence == pytest.approx(
            np.array(published["class_probabilities"]), abs=5e-4
        )
        for column, key in ((1, "sensitivity"), (0, "false_positive_rate")):
            theirs = np.array(published[key])
            assert found.tables[:, column, 1] == pytest.approx(theirs, abs=5e-4)
        assert found.log_likelihood == pytest.approx(published["log_likelihood"], abs=0.006)
        assert aic(found) == pytest.approx(published["AIC"], abs=0.012)
        assert bic(found) == pytest.approx(published["BIC"], abs=0.012)
        theirs = np.array(published["posterior_diseased_by_pattern"])
        assert found.posterior[:, 1] == pytest.approx(theirs, abs=0.002)
        single = fit(binary(name, 1))
        assert bic(single) == pytest.approx(published["bic_1_class"], abs=0.01)
