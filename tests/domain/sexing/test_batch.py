"""Many animals at once give what each gives by itself."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from tests.domain.sexing.builders import BALL, CORN, DAY, HOUR, call, female, male, probed, standing
from tests.domain.sexing.strategies import RECORDS, TAXA, calls, numbered

from scalewitness.domain.observations import Dna, Endoscopy, Hearsay, Ultrasound
from scalewitness.domain.sexing.batch import LONGEST, Record, reassess
from scalewitness.domain.sexing.parameters import VERSIONS, load_parameters
from scalewitness.domain.sexing.policy import DEFAULT_POLICY, adopted
from scalewitness.domain.sexing.records import EMPTY, ExaminerRecords
from scalewitness.domain.sexing.vectors import mixed

NUMBERS = [load_parameters(version) for version in VERSIONS]
LENIENT = adopted("lenient", {"verified": "0.95", "verified_pessimistic": "0.8", "contrary": "0.7"})


def _compared(animals, records=EMPTY, policy=DEFAULT_POLICY, parameters=NUMBERS[-1], **other):
    found = list(reassess(animals, records, policy, parameters, **other))
    assert len(found) == len(animals)
    for one, animal in zip(found, animals, strict=True):
        alone = standing(
            *animal.evidence,
            taxon=animal.taxon,
            records=records,
            policy=policy,
            parameters=parameters,
            prior_male=animal.prior_male,
        )
        assert one.p_male == pytest.approx(alone.p_male, abs=1e-12)
        assert one.p_male_pessimistic == pytest.approx(alone.p_male_pessimistic, abs=1e-12)
        assert (one.label, one.favoured, one.decisive) == (
            alone.label,
            alone.favoured,
            alone.decisive,
        )
    return found


ANIMALS = st.builds(Record, RECORDS, TAXA, st.sampled_from([0.5, 0.5, 0.3, 0.95]))
POLICIES = st.sampled_from([DEFAULT_POLICY, LENIENT])
EXAMINERS = st.sampled_from(
    [
        EMPTY,
        ExaminerRecords("r-1", {("a", "probing", "male"): (1.0, 199.0)}),
        ExaminerRecords("r-2", {(who, "ultrasound", "female"): (30.0, 70.0) for who in ("a", "b")}),
    ]
)


@settings(max_examples=120)
@given(st.lists(ANIMALS, max_size=6), POLICIES, EXAMINERS, st.sampled_from(NUMBERS))
def test_any_animals_whatever(animals, policy, records, parameters):
    _compared(animals, records, policy, parameters)


SHARP = st.lists(
    st.one_of(
        calls(conclusions=("male", "female"), examiners="abcdefgh"),
        st.builds(
            lambda sex, who, at, blind: replace(
                call(sex, probed(9, 9) if sex == "male" else probed(3, 3), who, blind=blind),
                at=at * DAY,
            ),
            st.sampled_from(["male", "female"]),
            st.sampled_from("abcdefgh"),
            st.integers(0, 20),
            st.booleans(),
        ),
        st.builds(
            lambda sex: call(
                sex,
                Endoscopy("testes" if sex == "male" else "ovaries"),
                "vera",
                role="veterinarian",
            ),
            st.sampled_from(["male", "female"]),
        ),
    ),
    min_size=2,
    max_size=10,
).map(numbered)


@settings(max_examples=150)
@given(st.lists(st.builds(Record, SHARP, st.just(BALL)), min_size=1, max_size=5), POLICIES)
def test_histories_that_rise_fall_turn_and_return(animals, policy):
    _compared(animals, policy=policy)


def test_the_labels_of_a_few_known_stories():
    vet = {"role": "veterinarian"}
    testes = call("male", Ultrasound("testes"), "vera", **vet)
    stories = [
        (),
        (male("ash"),),
        (male("ash"), male("birch")),
        (male("ash"), male("birch"), female("cedar")),
        (male("ash"), male("birch"), female("cedar"), testes, male("dora")),
        (call("female", Endoscopy("ovaries"), "vera", **vet),),
        (male("ash"), female("birch")),
        (call("male", Hearsay("seller"), "sam"),),
    ]
    found = _compared([Record(story, BALL) for story in stories])
    assert [one.label for one in found] == [
        "unsexed",
        "probable male",
        "verified male",
        "contested",
        "verified male",
        "verified female",
        "contested",
        "unsexed",
    ]
    assert found[5].decisive
    assert all(one.reasons == () for one in found)


def test_occasions_are_cut_as_for_one_animal():
    hours = (0, 7, 14, 20, 30, 31, 60)
    together = [male("ash", at=hour * HOUR) for hour in hours]
    mixed_order = [male("ash", at=hour * HOUR, role="veterinarian") for hour in hours[::-1]]
    _compared([Record(together, BALL), Record(mixed_order, BALL), Record(together[:3], BALL)])


def test_animals_do_not_touch_each_other():
    alone = [
        Record((male("ash"), female("birch")), BALL),
        Record((), CORN, 0.2),
        Record((call("female", Dna("ZW", "shed", "heterogametic"), role="laboratory"),), CORN),
    ]
    found = [next(reassess([one], EMPTY, DEFAULT_POLICY, NUMBERS[0])) for one in alone]
    together = list(reassess(alone, EMPTY, DEFAULT_POLICY, NUMBERS[0]))
    assert together == found
    in_chunks = list(reassess(alone, EMPTY, DEFAULT_POLICY, NUMBERS[0], chunk=1))
    assert in_chunks == found


def test_a_probability_on_the_threshold_is_worked_out_alone():
    for prior in (0.9, 0.99, 0.1, 0.5, 0.5 + 1e-9, 0.5 + 2e-9):
        _compared([Record((), BALL, prior)])


def test_a_record_too_long_for_columns():
    long = [(male if n % 3 else female)(f"keeper-{n}") for n in range(LONGEST + 1)]
    _compared([Record(long[:3], BALL), Record(long, BALL), Record(long[:LONGEST], BALL)])


def test_what_makes_no_sense_is_refused():
    one = male("ash")
    with pytest.raises(ValueError, match="twice"):
        list(reassess([Record((one, one), BALL)], EMPTY, DEFAULT_POLICY, NUMBERS[0]))
    with pytest.raises(ValueError, match="prior"):
        list(reassess([Record((), BALL, 1.0)], EMPTY, DEFAULT_POLICY, NUMBERS[0]))


def test_mixing_columns_without_leaving_logarithms():
    one, other = np.array([-800.0, 0.0, -3.0]), np.array([0.0, -800.0, -3.0])
    found = mixed(one, other, np.array([0.25, 1.0, 0.5]))
    assert found == pytest.approx([np.log(0.25), -800.0, -3.0])
    assert mixed(one, other, np.zeros(3)).tolist() == one.tolist()


def test_nobody():
    assert list(reassess([], EMPTY, DEFAULT_POLICY, NUMBERS[0])) == []
