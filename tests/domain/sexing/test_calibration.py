"""Probabilities come true in a world drawn from the model, and the scores see it when the
world is another. A small run of the simulation under ``deploy/bench``."""

from functools import cache
from math import sqrt

import numpy as np
import pytest
from tests.turns import turns

from bench.simulated import Simulator
from bench.simulation import ALLOWED, run
from bench.worlds import AS_MODELLED, OTHERWISE
from bench.worlds import WORLDS as EVERY
from scalewitness.domain.sexing.parameters import CURRENT, VERSIONS, load_parameters

pytestmark = pytest.mark.one_in(3)

ANIMALS = 2_500


WORLDS = {"ours": AS_MODELLED, "another": OTHERWISE}


@cache
def _scores(world, version):
    return _scored(WORLDS[world], ANIMALS, 11, version)


def _scored(world, animals, seed, version=CURRENT):
    """Before anything was learned."""
    (found,) = run(world, animals, seed, [0], version)
    return found.scores


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.some(1)
def test_fewer_than_one_in_a_hundred_verified_animals_is_wrong(version):
    found = _scores("ours", version)
    for verified, wrong in found.verified.values():
        assert verified > ANIMALS / 8
        assert wrong < 0.01 * verified


@pytest.mark.parametrize("version", VERSIONS)
def test_what_is_expected_comes_true(version):
    """Each range of probabilities within four standard deviations of its mean."""
    for one in _scores("ours", version).bins:
        sd = sqrt(one.count * one.expected * (1 - one.expected))
        assert abs(one.right - one.count * one.expected) < 4 * sd + 1


def test_intervals_of_error_rates_hold_the_true_rate():
    """95 % intervals; the bound leaves four standard deviations for the draw."""
    found = _scores("ours", VERSIONS[-1])
    least = 0.95 - 4 * sqrt(0.95 * 0.05 / found.examiners)
    assert found.examiners > 50
    assert found.covered / found.examiners > least


def test_probable_animals_are_wrong_more_often_than_verified_ones_but_less_than_one_in_ten():
    found = _scores("ours", VERSIONS[-1])
    verified, wrong = map(sum, zip(*found.verified.values(), strict=True))
    assert wrong / verified < found.probable_wrong / found.probable < 0.1


def test_the_scores_tell_another_world_from_this_one():
    ours, theirs = (_scores(world, VERSIONS[-1]) for world in WORLDS)
    assert theirs.brier > 1.3 * ours.brier
    assert sum(not one.holds for one in theirs.bins) > sum(not one.holds for one in ours.bins)


def test_the_same_seed_draws_the_same_world():
    first, second = (
        Simulator(AS_MODELLED, load_parameters(), np.random.default_rng(3)).draw(50)
        for _ in range(2)
    )
    assert first.sexes == second.sexes
    assert first.records == second.records


def test_in_no_world_are_verified_animals_wrong_too_often(request: pytest.FixtureRequest):
    """Before anything was learned; four standard deviations for the draw. An ordinary run draws a
    third of the worlds, others with each seed; ``--all`` every one. The figures of a long run stand
    in deploy/bench/FIGURES.md."""
    whose = turns(request.config, 3)
    drawn = [world for world in EVERY if next(whose)]
    assert len(drawn) >= len(EVERY) // 3
    for world in drawn:
        for verified, wrong in _scored(world, 1_200, 12).verified.values():
            assert verified > 80, world.name
            assert wrong < ALLOWED * verified + 4 * sqrt(ALLOWED * verified), world.name
