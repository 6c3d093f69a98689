"""What one more call would do; nothing is recorded."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace
from tests.domain.sexing.builders import (
    BALL,
    BOA,
    CORN,
    DAY,
    MASSASAUGA,
    PARAMETERS,
    SCRUB,
    call,
    female,
    male,
    probed,
    standing,
)
from tests.domain.sexing.strategies import RECORDS, SEXES, TAXA

from scalewitness.domain.observations import Dna, Endoscopy, Probing, ScaleCount, Ultrasound
from scalewitness.domain.sexing.findings import NoSuchFinding, typical
from scalewitness.domain.sexing.policy import DEFAULT_POLICY
from scalewitness.domain.sexing.records import EMPTY, ExaminerRecords
from scalewitness.domain.sexing.what_if import SupposedCall, what_if

METHODS = (
    "probing",
    "eversion",
    "ultrasound",
    "radiography",
    "endoscopy",
    "dna",
    "scale_count",
    "visual",
    "statement",
)


def _if(supposed, *calls, taxon=BALL, records=EMPTY, **other):
    return what_if(calls, supposed, taxon, records, DEFAULT_POLICY, PARAMETERS, **other)


def test_if_a_vets_ultrasound_said_male():
    owner = male("olive", blind=False, interested=True)
    found = _if(SupposedCall("ultrasound", "male", "veterinarian"), owner)
    assert found.before.label == "probable male"
    assert found.after.label == "verified male"
    assert found.call.observed == Ultrasound("hemipenes")
    assert found.weight.call == found.call.call == "supposed"
    assert "change from probable male to verified male" in found.text
    assert found.before == standing(owner)


def test_a_vets_ultrasound_that_someone_reports_is_not_the_blind_one():
    """Nothing the vet knew is on record, so it is not anchored either."""
    owner = male("olive", blind=False, interested=True)
    supposed = SupposedCall("ultrasound", "male", "veterinarian")
    plain, found = (_if(replace(supposed, reported=r), owner) for r in (False, True))
    assert (found.call.blind, found.call.anchored_to) == (False, None)
    assert 0.9 < found.after.p_male < plain.after.p_male  # it is the sender's word
    assert found.after.label == "probable male"
    assert "needs_blind_call" in found.after.reasons


def test_it_is_the_standing_had_the_call_been_made():
    record = (male("ash"), female("birch"))
    supposed = SupposedCall("endoscopy", "female", "veterinarian", stage="adult")
    found = _if(supposed, *record)
    made = call(
        "female", Endoscopy("ovaries"), "supposed", role="veterinarian", at=record[-1].at + DAY
    )
    again = standing(*record, replace(made, call="supposed"))
    assert (found.after.label, found.after.p_male) == (again.label, again.p_male)
    assert found.after.reasons == again.reasons
    assert found.lines[0].kind == "answer"
    assert found.lines[0].text.startswith("The record, taken whole, says female")


def test_what_was_seen_can_be_said_instead():
    shallow = SupposedCall("probing", "male", "keeper", observed=probed(7, 7))
    deep = SupposedCall("probing", "male", "keeper")
    assert _if(deep).call.observed == probed(9, 9)
    assert _if(shallow).after.p_male < _if(deep).after.p_male


@pytest.mark.parametrize(
    ("record", "knows"),
    [
        ((), None),
        ((male("ash"),), "male"),
        ((female("ash"), female("birch")), "female"),
        ((male("ash"), female("birch")), "female"),  # contested: the latest conclusion
        ((female("ash"), call("undetermined", probed(6))), "female"),
    ],
)
def test_who_is_not_blind_knows_what_the_record_says(record, knows):
    found = _if(SupposedCall("probing", "male", "keeper", blind=False), *record)
    assert found.call.anchored_to == knows
    assert _if(SupposedCall("probing", "male", "keeper"), *record).call.anchored_to is None


def test_an_agreeing_call_in_the_know_would_add_less_than_a_blind_one():
    record = (male("ash"),)
    blind, knowing = (
        _if(SupposedCall("probing", "male", "keeper", blind=b), *record) for b in (True, False)
    )
    assert standing(*record).p_male < knowing.after.p_male < blind.after.p_male


def test_a_named_examiner_brings_their_record_and_their_earlier_calls():
    records = ExaminerRecords("r", {("ida", "probing", s): (1, 199) for s in ("male", "female")})
    supposed = SupposedCall("probing", "male", "keeper", examiner="ida")
    assert _if(supposed, records=records).after.p_male > _if(supposed).after.p_male
    again = _if(SupposedCall("probing", "male", "keeper", examiner="ash"), male("ash"))
    assert again.after.reasons[-1] == "needs_second_examiner"


def test_a_test_the_species_does_not_allow_changes_nothing_and_says_why():
    found = _if(SupposedCall("dna", "female", "laboratory"), male("ash"))
    assert found.after.p_male == found.before.p_male
    assert found.weight.code == "no_dna_test"
    assert "would stay probable male" in found.text


def test_eggs_make_no_male():
    with pytest.raises(NoSuchFinding):
        _if(SupposedCall("reproduction", "male", "keeper"))
    assert _if(SupposedCall("reproduction", "female", "keeper")).after.label == "verified female"


@pytest.mark.parametrize(
    ("method", "conclusion", "kind", "observed"),
    [
        ("dna", "male", BOA, Dna("XY", "shed", "heterogametic")),
        ("dna", "male", CORN, Dna("ZW", "shed", "homogametic")),
        ("dna", "female", CORN, Dna("ZW", "shed", "heterogametic")),
        ("dna", "undetermined", CORN, Dna("ZW", "shed", "failed")),
        ("probing", "female", BALL, probed(3, 3)),
        ("probing", "male", SCRUB, Probing()),
        ("scale_count", "male", MASSASAUGA, ScaleCount(31)),
        ("scale_count", "female", MASSASAUGA, ScaleCount(21)),
        ("scale_count", "undetermined", MASSASAUGA, ScaleCount(27)),
        ("scale_count", "male", BALL, ScaleCount(0)),
    ],
)
def test_what_a_method_usually_shows(method, conclusion, kind, observed):
    assert typical(method, conclusion, kind) == observed


@given(RECORDS, TAXA, st.sampled_from(METHODS), SEXES, st.sampled_from(["keeper", "veterinarian"]))
def test_what_is_typical_of_a_sex_never_speaks_against_it(record, kind, method, sex, role):
    found = _if(SupposedCall(method, sex, role, stage="hatchling"), *record, taxon=kind)
    sign = 1 if sex == "male" else -1
    assert (found.after.p_male - found.before.p_male) * sign >= -1e-12
    assert found.weight.code != "conflict"
    assert found.before == standing(*record, taxon=kind)


@given(RECORDS, TAXA, st.sampled_from([*METHODS, "reproduction"]))
def test_no_conclusion_changes_nothing(record, kind, method):
    found = _if(SupposedCall(method, "undetermined", "veterinarian"), *record, taxon=kind)
    assert found.after.p_male == found.before.p_male
    assert found.after.label == found.before.label


def test_the_prior_enters():
    found = _if(SupposedCall("visual", "male", "keeper"), prior_male=0.95)
    assert found.before.p_male == pytest.approx(0.95)
    assert found.after.p_male > 0.95
    assert "now it is 95 in 100" in found.text


def test_a_turn_is_said():
    found = _if(SupposedCall("endoscopy", "female", "veterinarian"), male("ash"))
    assert "now the other sex is likelier" in found.text
    even = _if(SupposedCall("probing", "female", "keeper"), male("ash"))
    assert even.after.label == "contested"
