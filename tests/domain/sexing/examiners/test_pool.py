"""The pooled model on calls drawn from it, and its edges. Published fits are in
test_pool_published.py."""

import numpy as np
import pytest
from tests.domain.sexing.examiners.vectors import from_patterns

from bench.examiners.information import bic
from scalewitness.domain.sexing.examiners.labels import UNKNOWN, labels
from scalewitness.domain.sexing.examiners.latent import Model
from scalewitness.domain.sexing.examiners.pool import averaged, fit
from scalewitness.domain.sexing.examiners.starts import compare


def simulated(seed, animals=600, examiners=12, each=3):
    """Calls drawn from the model: prevalence of the second class 0.4, examiners right four
    to nineteen times in twenty."""
    generator = np.random.default_rng(seed)
    truth = (generator.random(animals) < 0.4).astype(int)
    right = generator.uniform(0.75, 0.98, (examiners, 2))
    animal = np.repeat(np.arange(animals), each)
    examiner = np.concatenate(
        [generator.choice(examiners, each, replace=False) for _ in range(animals)]
    )
    slips = generator.random(animal.size) > right[examiner, truth[animal]]
    return truth, right, animal, examiner, truth[animal] ^ slips


def test_leaps_end_where_plain_em_ends():
    _, _, *columns = simulated(11)
    of = labels(*columns)
    plain, leaping = fit(of, leaps=False), fit(of)
    assert plain.converged
    assert leaping.converged
    assert leaping.steps < plain.steps / 2
    assert leaping.tables == pytest.approx(plain.tables, abs=1e-6)
    assert leaping.posterior == pytest.approx(plain.posterior, abs=1e-5)
    assert leaping.log_likelihood == pytest.approx(plain.log_likelihood, abs=1e-6)


def test_plain_em_never_falls():
    _, _, *columns = simulated(12)
    heights = np.array(fit(labels(*columns), leaps=False).heights)
    assert (np.diff(heights) > -1e-9).all()


@pytest.mark.parametrize("settle", [0, 150])
def test_two_classes_by_their_odds_are_two_classes_among_many(settle):
    """The short way for two classes against the long way for any number, from the same
    parameters, with and without settled animals."""
    truth, _, *columns = simulated(13)
    known = np.where(np.arange(truth.size) < settle, truth, UNKNOWN)
    of = labels(*columns, known=known)
    model = Model(of, pseudo=0.5)
    here = model.maximised(averaged(of))
    for _ in range(4):
        short, long = model._expect_two(here), model._expect_any(here)
        for one, other in zip(short, long, strict=True):
            assert one == pytest.approx(other, rel=1e-10)
        here, _ = model.step(here)


def test_settled_animals_keep_their_class_and_teach_the_tables():
    truth, _, *columns = simulated(14, animals=4000)
    every = fit(labels(*columns, known=truth))
    assert (every.most_likely == truth).all()
    assert every.posterior[np.arange(truth.size), truth] == pytest.approx(1)
    animal, examiner, answer = columns
    for who in range(12):
        own = (examiner == who) & (truth[animal] == 1)
        share = (answer[own] == 1).mean()
        assert every.tables[who, 1, 1] == pytest.approx(share)


def test_the_model_finds_the_skills_it_was_drawn_from():
    truth, right, *columns = simulated(15, animals=20_000)
    found = fit(labels(*columns))
    estimated = found.tables[:, [0, 1], [0, 1]]
    assert np.abs(estimated - right).max() < 0.03
    assert found.prevalence[1] == pytest.approx(truth.mean(), abs=0.02)
    votes = averaged(labels(*columns)).argmax(1)
    assert (found.most_likely == truth).mean() > (votes == truth).mean()


def test_one_coin_gives_one_accuracy_for_both_sexes():
    truth, _, *columns = simulated(16, animals=5000)
    found = fit(labels(*columns), coins="one")
    assert found.tables[:, 0, 0] == pytest.approx(found.tables[:, 1, 1])
    assert found.parameters == 1 + 12
    assert fit(labels(*columns)).log_likelihood > found.log_likelihood
    assert (found.most_likely == truth).mean() > 0.9


def test_one_coin_with_three_classes():
    _, _, animal, examiner, answer = simulated(17)
    found = fit(labels(animal, examiner, (answer + animal) % 3, classes=3), coins="one")
    off = found.tables[:, [0, 0, 1, 1, 2, 2], [1, 2, 0, 2, 0, 1]]
    assert off == pytest.approx(np.repeat(off[:, :1], 6, axis=1))
    assert found.tables.sum(2) == pytest.approx(1)


def test_an_answer_that_names_no_class():
    """ "undetermined" is a third answer: it moves no animal at the start, and has its own
    chance in every table."""
    truth, _, animal, examiner, answer = simulated(18)
    unsure = np.random.default_rng(1).random(answer.size) < 0.2
    of = labels(animal, examiner, np.where(unsure, 2, answer), answers=3)
    found = fit(of)
    assert found.tables.shape == (12, 2, 3)
    assert found.tables.sum(2) == pytest.approx(1)
    assert found.tables[:, :, 2].mean() == pytest.approx(0.2, abs=0.03)
    assert (found.most_likely == truth).mean() > 0.9
    with pytest.raises(ValueError, match="no side"):
        fit(of, coins="one")


def test_pseudo_counts_are_answers_added_to_every_table():
    """All animals settled: then the tables are counts and nothing else."""
    of = labels([0, 1, 2], [0, 0, 0], [0, 0, 1], known=[0, 0, 1])
    found = fit(of, pseudo=np.array([[18.0, 2.0], [4.0, 16.0]]))
    assert found.tables[0] == pytest.approx(np.array([[20 / 22, 2 / 22], [4 / 21, 17 / 21]]))
    assert found.objective < found.log_likelihood


def test_pseudo_counts_decide_which_class_is_which():
    """Examiners believed to be wrong more often than right: the classes change names."""
    _, _, *columns = simulated(20)
    of, generator = labels(*columns), np.random.default_rng(2)
    believed = np.array([[18.0, 2.0], [2.0, 18.0]])
    usual = compare(of, generator, 4, pseudo=believed)
    contrary = compare(of, generator, 4, pseudo=believed[::-1])
    assert contrary.best.tables == pytest.approx(usual.best.tables[:, ::-1], abs=1e-5)
    assert contrary.best.objective == pytest.approx(usual.best.objective)


def test_counted_patterns_are_the_animals_one_by_one():
    patterns = [("110", 3), ("011", 2), ("000", 4), ("111", 1)]
    one_by_one = from_patterns([(p, 1) for p, n in patterns for _ in range(n)])
    together, apart = fit(from_patterns(patterns)), fit(one_by_one)
    assert together.log_likelihood == pytest.approx(apart.log_likelihood, abs=1e-7)
    assert bic(together) == pytest.approx(bic(apart), abs=1e-6)


def test_stopping_short_is_said():
    _, _, *columns = simulated(19)
    short = fit(labels(*columns), most=3)
    assert not short.converged
    assert len(short.heights) == short.steps
    assert 3 <= short.steps <= 5


@pytest.mark.parametrize(
    "columns", [([], [], []), ([0, 1], [0], [0, 1]), ([0], [0], [2]), ([-1], [0], [0])]
)
def test_impossible_columns_are_refused(columns):
    with pytest.raises(ValueError, match=r"answers|numbered"):
        labels(*columns)
