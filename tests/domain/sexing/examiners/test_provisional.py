"""Provisional rates where little is settled."""

import numpy as np
import pytest
from msgspec.structs import replace

from scalewitness.domain.sexing.examiners.posterior import Determination
from scalewitness.domain.sexing.examiners.provisional import provisional_rates
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.records import error_prior

BASE = load_parameters("sexing-2").base
"""Whose priors are alike for both sexes."""
PRIOR = error_prior(BASE, "keeper", "probing", "male")


def keeper(examiner):
    return "keeper"


def rates(calls, seed=1, role_of=keeper):
    return provisional_rates(calls, role_of, BASE, np.random.default_rng(seed))


def called(examiner, animal, conclusion, **other):
    return Determination(examiner, other.pop("method", "probing"), animal, conclusion, **other)


def season(seed, animals=800, errors=(0.02, 0.05, 0.05, 0.25)):
    """Every examiner on every other animal or so; none settled."""
    generator = np.random.default_rng(seed)
    other = {"male": "female", "female": "male"}
    calls = []
    for animal in range(animals):
        truth = "male" if generator.random() < 0.5 else "female"
        for examiner, error in enumerate(errors):
            if generator.random() < 0.8:
                said = other[truth] if generator.random() < error else truth
                calls.append(called(f"examiner {examiner}", str(animal), said))
    return calls


def test_the_careless_examiner_is_found_without_any_settled_animal():
    said = rates(season(31))
    by_examiner = {
        name: np.mean([rate.rate for rate in said.rates if rate.examiner == name])
        for name in {rate.examiner for rate in said.rates}
    }
    assert max(by_examiner, key=by_examiner.get) == "examiner 3"
    assert by_examiner["examiner 3"] == pytest.approx(0.23, abs=0.05)
    assert by_examiner["examiner 0"] < 0.05
    assert said.males == pytest.approx(0.5, abs=0.05)
    assert said.converged
    assert not said.outdone


def test_with_every_animal_settled_the_rate_is_the_record():
    """Then nothing is left to estimate: prior and counts, as in the settled record."""
    calls = [called("ash", str(n), "female" if n < 3 else "male", truth="male") for n in range(20)]
    said = rates(calls)
    of_males = next(rate for rate in said.rates if rate.sex == "male")
    assert of_males.rate == pytest.approx((PRIOR[0] + 3) / (sum(PRIOR) + 20))
    assert of_males.animals == pytest.approx(20)
    of_females = next(rate for rate in said.rates if rate.sex == "female")
    assert of_females.rate == pytest.approx(PRIOR[0] / sum(PRIOR))
    assert of_females.animals == 0


def test_one_examiner_alone_stays_near_the_prior():
    """Nothing to compare with: the calls are taken as the prior takes them."""
    calls = [called("ash", str(n), "male" if n % 2 else "female") for n in range(60)]
    for rate in rates(calls).rates:
        assert rate.rate == pytest.approx(PRIOR[0] / sum(PRIOR), abs=0.03)


def test_calls_that_knew_or_did_not_conclude_are_left_out():
    calls = season(32, animals=60)
    noise = [called("examiner 0", str(n), "male", blind=False) for n in range(60)]
    noise += [called("examiner 9", str(n), "undetermined") for n in range(60)]
    assert rates(calls + noise) == rates(calls)
    assert rates(noise) is None
    assert rates([]) is None


def test_the_first_conclusion_on_an_animal_counts():
    calls = season(33, animals=60)
    again = [called(call.examiner, call.animal, "male") for call in calls]
    assert rates(calls + again) == rates(calls)


def test_an_animal_settled_for_some_only_is_not_settled():
    """The examiner whose own proof settled it has no truth from others."""
    ash, birch = called("ash", "kestrel", "male"), called("birch", "kestrel", "female")
    half = [ash, replace(birch, truth="male")]
    assert rates(half) == rates([ash, birch])
    assert rates(half) != rates([replace(ash, truth="male"), replace(birch, truth="male")])


def test_methods_are_told_apart():
    calls = season(34, animals=100)
    calls += [called("examiner 0", str(n), "male", method="visual") for n in range(100)]
    found = {(rate.examiner, rate.method) for rate in rates(calls).rates}
    assert ("examiner 0", "probing") in found
    assert ("examiner 0", "visual") in found


def test_the_same_generator_gives_the_same_answer():
    calls = season(35, animals=100)
    assert rates(calls, seed=5) == rates(calls, seed=5)


def test_answers_that_mirror_each_other_determine_no_rate():
    """One animal, two examiners, one sex each: either may be the one who is wrong."""
    said = rates([called("ash", "kestrel", "male"), called("birch", "kestrel", "female")])
    assert said.undetermined
    assert said.differ
    assert said.males == pytest.approx(0.5, abs=1e-3)
    assert said.rates == ()


def test_a_tie_leaves_out_only_the_rates_it_is_about():
    """Two examiners of their own disagree on every animal, either sex by turns; the season
    beside them is as even, but there are more than two to compare, and its rates stay."""
    calls = season(36, animals=120)
    other = {"male": "female", "female": "male"}
    calls += [
        replace(call, animal=f"mirror of {call.animal}", conclusion=other[call.conclusion])
        for call in calls
    ]
    assert not rates(calls).undetermined
    calls += [
        called(name, str(at), sex)
        for at in range(1000, 1080)
        for name, sex in zip(("ash", "birch"), sorted(other, reverse=at % 2 == 0), strict=True)
    ]
    said = rates(calls)
    assert said.undetermined
    assert {rate.examiner for rate in said.rates} == {f"examiner {n}" for n in range(4)}


def test_one_more_opinion_breaks_the_tie():
    said = rates(
        [
            called("ash", "kestrel", "male"),
            called("birch", "kestrel", "female"),
            called("cedar", "kestrel", "male"),
        ]
    )
    assert not said.undetermined
    assert said.males > 0.9
    by_hand = {(rate.examiner, rate.sex): rate.rate for rate in said.rates}
    assert by_hand["birch", "male"] > by_hand["ash", "male"]
