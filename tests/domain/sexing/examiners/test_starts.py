"""The pooled model treats both sexes alike and says so when nothing chooses between answers."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scalewitness.domain.sexing.examiners.labels import UNKNOWN, labels
from scalewitness.domain.sexing.examiners.latent import Model
from scalewitness.domain.sexing.examiners.pool import averaged, fit
from scalewitness.domain.sexing.examiners.starts import compare, namings

pytestmark = pytest.mark.one_in(2)

BELIEVED = np.array([[38.0, 2.0], [2.0, 38.0]])
"""A keeper's prior, the same for both sexes."""
CALLS = st.lists(
    st.tuples(st.integers(0, 7), st.integers(0, 3), st.integers(0, 1)), min_size=1, max_size=40
)
BELIEFS = st.sampled_from([BELIEVED, BELIEVED / 4, 0.5])


def compared(calls, pseudo, **other):
    of = labels(*zip(*calls, strict=True), **other)
    return compare(of, np.random.default_rng(3), 4, pseudo=pseudo)


def mirrored(calls):
    return [(animal, examiner, 1 - answer) for animal, examiner, answer in calls]


def crosswise(animals):
    """Two examiners who always say the opposite, each either sex equally often."""
    return [(a, e, (a + e) % 2) for a in range(animals) for e in (0, 1)]


@settings(max_examples=40)
@given(CALLS, BELIEFS)
def test_swapping_the_sexes_mirrors_the_answer(calls, pseudo):
    one, two = compared(calls, pseudo), compared(mirrored(calls), pseudo)
    assert one.undetermined == two.undetermined
    assert one.differ == two.differ
    assert one.best.objective == pytest.approx(two.best.objective, abs=2e-4)
    if not one.undetermined:
        assert one.best.posterior == pytest.approx(two.best.posterior[:, ::-1], abs=1e-5)
        assert one.best.tables == pytest.approx(two.best.tables[:, ::-1, ::-1], abs=1e-5)


@settings(max_examples=40)
@given(CALLS)
def test_swapping_the_sexes_mirrors_every_step(calls):
    """Without a prior, step by step: few enough that rounding stays rounding."""
    models = [Model(labels(*zip(*rows, strict=True))) for rows in (calls, mirrored(calls))]
    starts = [averaged(labels(*zip(*rows, strict=True))) for rows in (calls, mirrored(calls))]
    one, two = (model.maximised(start) for model, start in zip(models, starts, strict=True))
    for _ in range(3):
        (one, height), (two, other) = models[0].step(one), models[1].step(two)
        assert height == pytest.approx(other, abs=1e-9)
        (first, _), (second, _) = models[0].posterior(one), models[1].posterior(two)
        assert first == pytest.approx(second[:, ::-1], abs=1e-9)


@settings(max_examples=30)
@given(CALLS, BELIEFS, st.randoms(use_true_random=False))
def test_the_order_of_calls_does_not_matter(calls, pseudo, shuffler):
    mixed = calls.copy()
    shuffler.shuffle(mixed)
    known = [UNKNOWN] * (max(call[0] for call in calls) + 1)
    one, two = compared(calls, pseudo, known=known), compared(mixed, pseudo, known=known)
    assert one.undetermined == two.undetermined
    if not one.undetermined:
        assert one.best.posterior == pytest.approx(two.best.posterior, abs=1e-5)


def test_evenly_split_answers_leave_the_averaged_start_on_a_saddle():
    """Its climb ends at even chances, lower than where a nudge to either side leads; the
    two ends mirror each other, and neither is chosen in silence."""
    of = labels(*zip(*crosswise(12), strict=True))
    stuck = fit(of, pseudo=0.5, most=5)
    assert stuck.posterior == pytest.approx(0.5)
    found = compared(crosswise(12), 0.5)
    assert min(found.heights) > stuck.objective + 1
    assert len(found.heights) == 4 + 4, "two nudged pairs and the random starts"
    assert found.undetermined
    assert found.differ
    assert found.outdone
    one, two = found.tied
    assert one.objective == pytest.approx(two.objective)
    assert one.posterior == pytest.approx(two.posterior[:, ::-1], abs=1e-5)


def test_two_settled_animals_that_mirror_each_other_leave_the_tie():
    """One of either sex, the first examiner right on both: too few to teach how often each
    is wrong, so the rest may as well be nearly all males as nearly all females."""
    found = compared(crosswise(12), BELIEVED, known=[0, 1, *[UNKNOWN] * 10])
    assert found.undetermined
    assert sum(one.prevalence[0] for one in found.tied) == pytest.approx(1, abs=1e-5)


def test_enough_settled_animals_end_the_tie():
    """The first examiner is right on twenty, so the other is wrong throughout."""
    known = [0, 1] * 10 + [UNKNOWN] * 4
    found = compared(crosswise(24), BELIEVED, known=known)
    assert not found.undetermined
    assert len(found.heights) == 1 + 4 + 4, "the averaged start counts"
    assert found.best.most_likely.tolist() == [animal % 2 for animal in range(24)]


def test_names_that_agree_equally_well_are_both_kept():
    """Without a prior a class is named by what its animals were called; called both as
    often, it has no name."""
    even = labels(*zip(*crosswise(6), strict=True))
    found = fit(even, np.array([[1.0, 0.0], [0.0, 1.0]] * 3))
    one, two = namings(even, found)
    assert one.posterior == pytest.approx(two.posterior[:, ::-1])
    clear = labels([0, 0, 1, 1], [0, 1, 0, 1], [0, 0, 1, 1])
    assert len(namings(clear, fit(clear))) == 1
    assert compared(crosswise(6), 0.0).undetermined


def test_settled_animals_name_the_classes_against_all_who_call_them():
    """Both examiners have it the wrong way round on the settled animals; without a prior
    the classes keep the names the settled animals give them."""
    calls = [(animal, examiner, animal % 2) for animal in range(8) for examiner in (0, 1)]
    known = [1, 0, 1, 0, *[UNKNOWN] * 4]
    found = compared(calls, 0.0, known=known)
    assert found.best.most_likely[:4].tolist() == known[:4]
    assert found.best.prevalence.sum() == pytest.approx(1)
