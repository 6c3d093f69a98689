"""The little that has been published on probing, against what the model expects.

Katz et al. (2020), Louisiana pine snakes against a molecular assay: 28 % wrong or
unresolved, the two not told apart. Tan, Poetri and Ulum, reticulated pythons: 100 %
correct, number and reference not shown.
"""

from math import exp

import pytest
from tests.domain.sexing.builders import call, probed, standing

from scalewitness.domain.sexing.outcomes import prospect
from scalewitness.domain.sexing.parameters import VERSIONS, load_parameters
from scalewitness.domain.sexing.records import error_prior
from scalewitness.domain.sexing.taxa import taxon

KATZ = 0.28
PINE, RETICULATED = taxon("pituophis_ruthveni"), taxon("malayopython_reticulatus")
SEXES = ("male", "female")

versions = pytest.mark.parametrize(
    "parameters", [load_parameters(v) for v in VERSIONS], ids=VERSIONS
)
sexes = pytest.mark.parametrize("sex", SEXES)


def _expected(kind, parameters, which, sex, role="keeper"):
    """(unresolved, wrong) shares of single probings of both sides in that sex."""
    numbers = getattr(parameters, which)
    a, b = error_prior(numbers, role, "probing", sex)
    slip, misled = a / (a + b), numbers.value(f"mislead.probing.{sex}")
    turned = slip + misled - 2 * slip * misled  # an odd number of two turns
    own = SEXES.index(sex)
    concluded = dict.fromkeys(SEXES, 0.0)
    for outcome in prospect("probing", kind, parameters).outcomes:
        chances = [exp(log_chance) for log_chance in getattr(outcome, which).pair]
        share = (1 - turned) * chances[own] + turned * chances[1 - own]
        concluded[outcome.conclusion] += share
    return 1 - sum(concluded.values()), concluded[SEXES[1 - own]]


@versions
@sexes
@pytest.mark.parametrize("which", ["base", "pessimistic"])
def test_katz_is_an_upper_bound_in_pine_snakes(parameters, sex, which):
    unresolved, wrong = _expected(PINE, parameters, which, sex)
    assert unresolved + wrong < KATZ


@versions
@sexes
def test_the_pessimistic_set_comes_near_it_and_the_base_set_does_not(parameters, sex):
    pessimistic = sum(_expected(PINE, parameters, "pessimistic", sex))
    base = sum(_expected(PINE, parameters, "base", sex))
    assert pessimistic > KATZ / 2 > base


@versions
@sexes
def test_a_study_of_reticulated_pythons_without_an_error_is_no_surprise(parameters, sex):
    """Twelve animals, as in the ultrasound study of the same species (Enriquez et al.
    2011), probed by a veterinarian: the study's own number is not known."""
    right = 1 - sum(_expected(RETICULATED, parameters, "base", sex, "veterinarian"))
    assert right**12 > 0.5


@versions
@sexes
def test_every_depth_in_a_reticulated_pythons_range_reads_right(parameters, sex):
    low, high = map(float, RETICULATED.depths(sex))
    for depth in (low, (low + high) / 2, high):
        found = standing(call(sex, probed(depth, depth)), taxon=RETICULATED, parameters=parameters)
        assert found.favoured == sex
        assert found.label == f"probable {sex}"


@versions
def test_no_keeper_without_a_record_verifies_a_pine_snake_alone(parameters):
    """Whatever the depth: with a 28 % study on record one probing settles nothing."""
    for depth in range(31):
        for sex in SEXES:
            found = standing(call(sex, probed(depth, depth)), taxon=PINE, parameters=parameters)
            assert not found.label.startswith("verified")
            assert max(found.p_male_pessimistic, 1 - found.p_male_pessimistic) < 1 - KATZ / 2
