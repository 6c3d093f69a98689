"""Whose young they are: what a test of parents settles, and what a mating seen does not."""

from itertools import product
from math import log

import pytest
from tests.domain.sexing.builders import (
    BALL,
    BOA,
    CORN,
    PARAMETERS,
    call,
    female,
    male,
    standing,
)

from scalewitness.domain.observations import Dna, Parentage, Visual
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.policy import DEFAULT_POLICY
from scalewitness.domain.sexing.records import EMPTY
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.domain.sexing.what_if import SupposedCall, what_if
from scalewitness.domain.sexing.words import found_in_words

BASE = PARAMETERS.base
KNEW = {"blind": False, "anchored_to": "female"}
OWNERS = {"blind": False, "interested": True}


def parents(found="sire", excluded=(True, True, True), lab="lab", **other):
    """A laboratory's result on six young, confirmed unless said otherwise."""
    about = {"role": "laboratory", "blind": False, "report": "confirmed"} | other
    observed = Parentage(found, 6, *excluded)
    return call(observed.proves or "undetermined", observed, lab, **about)


PROBED_SHORT = {
    "the owner, three times": lambda: [
        female("owner", **OWNERS),
        female("owner", **OWNERS, anchored_to="female"),
        female("owner", **OWNERS, anchored_to="female"),
    ],
    "the owner, then two who knew": lambda: [
        female("owner", **OWNERS),
        female("birch", **KNEW),
        female("cob", **KNEW),
    ],
    "three blind keepers": lambda: [female("ash"), female("birch"), female("cob")],
}
TAXA = pytest.mark.parametrize("kind", [BALL, BOA, CORN], ids=lambda kind: kind.key)
RECORDS = pytest.mark.parametrize("record", PROBED_SHORT.values(), ids=PROBED_SHORT.keys())


# --- a male probed short three times, then proved sire -----------------------------------------


@TAXA
@RECORDS
def test_a_male_probed_short_three_times_is_verified_once_proved_sire(kind, record):
    before = standing(*record(), taxon=kind)
    found = standing(*record(), parents(), taxon=kind)
    assert before.favoured == "female"
    assert (found.label, found.decisive) == ("verified male", True)
    assert "decisive_evidence" in found.reasons
    if before.label == "verified female":
        assert "reversed" in found.reasons


@TAXA
@RECORDS
@pytest.mark.parametrize(
    "excluded", [one for one in product((True, False), repeat=3) if not all(one)]
)
def test_without_every_exclusion_it_is_probable_at_most(kind, record, excluded):
    """Where the record had verified a female, that falls, and nothing is vouched for."""
    before = standing(*record(), taxon=kind)
    found = standing(*record(), parents(excluded=excluded), taxon=kind)
    fell = before.label == "verified female"
    assert found.label == ("contested" if fell else "probable male")
    assert found.favoured == "male"
    assert not found.decisive
    assert "needs_second_examiner" in found.reasons
    weight = found.weights[-1]
    assert weight.code == "parentage_open"
    assert "was not ruled out" in weight.reason


@TAXA
@pytest.mark.parametrize("interested", [True, False], ids=["a seller's", "a stranger's"])
def test_an_unconfirmed_report_is_its_senders_word(kind, interested):
    """By itself, repeated in ten laboratories' names, or after somebody probed it short."""
    told = {"report": "unconfirmed", "interested": interested}
    often = [parents(lab=f"lab {n}", **told) for n in range(10)]
    for calls in ([parents(**told)], often, [female("owner", **OWNERS), *often]):
        found = standing(*calls, taxon=kind)
        assert found.label in ("probable male", "unsexed", "contested")
        assert not found.decisive
    assert standing(*often, taxon=kind).p_male <= (0.91 if interested else 0.971)


def test_ten_open_tests_verify_nothing_and_are_nobodys_agreement():
    often = [parents(excluded=(True, True, False), lab=f"lab {n}") for n in range(10)]
    assert standing(*often).label == "probable male"
    assert standing(*often, male("ash")).label == "probable male"
    assert standing(*often, male("ash"), male("birch")).label == "verified male"


def test_a_denied_one_says_nothing():
    found = standing(parents(report="denied"))
    assert (found.label, found.p_male, found.weights[0].code) == ("unsexed", 0.5, "denied")


def test_only_a_code_read_from_the_animal_makes_it_decisive():
    assert standing(parents(identity="unconfirmed")).label == "probable male"
    assert standing(parents(identity="mismatch")).label == "unsexed"


def test_two_blind_keepers_who_find_a_female_later_bring_it_down():
    """A test settles, and does not silence who comes after it."""
    found = standing(parents(), female("ash"), female("birch"))
    assert found.label == "contested"
    assert "fell_from_male" in found.reasons


# --- its other results --------------------------------------------------------------------------


def test_young_without_a_father_prove_their_mother():
    assert standing(parents("dam_alone")).label == "verified female"
    assert standing(parents("dam_alone", (False, False, False))).label == "verified female"
    assert standing(parents("dam_alone", report="unconfirmed")).label != "verified female"


@pytest.mark.parametrize(
    ("found", "code"), [("not_sire", "not_the_father"), ("failed", "undetermined")]
)
def test_no_young_of_it_says_nothing_of_its_sex(found, code):
    said = standing(parents(found))
    assert (said.label, said.p_male) == ("unsexed", 0.5)
    concluded = standing(call("male", Parentage(found, 3, True, True, True), role="laboratory"))
    assert concluded.p_male == 0.5
    assert concluded.weights[0].code == (code if found == "not_sire" else "assay_failed")


@pytest.mark.parametrize("version", ["sexing-1", "sexing-2"])
def test_older_versions_take_no_notice_of_it(version):
    numbers = load_parameters(version)
    record = [female("ash"), parents(), call("male", Visual("mating"), "birch")]
    found, without = (standing(*of, parameters=numbers) for of in (record, record[:1]))
    assert (found.label, found.p_male) == (without.label, without.p_male)


# --- its weight, by hand ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("excluded", "name"),
    [((True, True, True), "parentage.sire.any"), ((True, False, True), "parentage.sire_open.any")],
)
def test_its_weight_is_the_chance_of_it_seen_through_each_error_in_turn(excluded, name):
    """A slip of this once or a mistaken report, the laboratory's lasting error, the animal."""
    value = BASE.value
    a, b = value("error.laboratory.a"), value("error.laboratory.b")
    error = a / (a + b) * value("error_share.parentage")
    lasting = value("error.lasting_share")
    chances = value(f"{name}.male"), value(f"{name}.female")
    for chance in (
        (1 - lasting) * error + value("report.mistaken.parentage"),
        lasting * error,
        value("mislead.parentage.male"),
    ):
        own, other = chances
        chances = (1 - chance) * own + chance * other, (1 - chance) * other + chance * own
    (weight,) = standing(parents(excluded=excluded)).weights
    assert weight.log10_lr == pytest.approx(log(chances[0] / chances[1]) / log(10), rel=1e-12)


def test_its_numbers_are_listed_with_what_they_rest_on():
    all_used = standing(parents(excluded=(False, True, True))).used
    used = {one.name: one for one in all_used if one.of == "base"}
    assert {"report.mistaken.parentage", "error_share.parentage"} <= used.keys()
    assert "report.mistaken" not in used
    assert "McCracken" in used["parentage.sire_open.any.female"].note


# --- a mating seen ------------------------------------------------------------------------------


@pytest.mark.parametrize("sex", ["male", "female"])
def test_a_mating_seen_is_weak_however_many_saw_it(sex):
    seen = [call(sex, Visual("mating"), f"keeper {n}") for n in range(10)]
    assert standing(seen[0]).label == "unsexed"
    assert standing(*seen).label == "unsexed"
    assert 0.2 <= standing(*seen).p_male <= 0.8
    probed = male("ash") if sex == "male" else female("ash")
    assert not standing(*seen, probed).label.startswith("verified")


# --- a DNA test whose controls failed -----------------------------------------------------------


def test_a_test_whose_controls_failed_says_nothing_from_the_third_version_on():
    def of(failed, version="sexing-3"):
        seen = Dna("ZW", "shed", "heterogametic", failed_controls=failed)
        made = call("female", seen, "lab", role="laboratory")
        kind = taxon("pantherophis_guttatus", version)
        return standing(made, taxon=kind, parameters=load_parameters(version))

    assert of(1).p_male == 0.5
    assert of(1).weights[0].code == "controls_failed"
    assert of(0).p_male == of(None).p_male < 0.1
    assert of(1, "sexing-2").p_male == of(None, "sexing-2").p_male


# --- in words -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("observed", "said"),
    [
        (
            Parentage("sire", 6, True, True, True),
            "Tested the parents of 6 young: it is the father, with other males, stored sperm "
            "and young without a father ruled out",
        ),
        (
            Parentage("sire", 1, True, False, False),
            "Tested the parents of 1 young: it is the father, without ruling out stored sperm "
            "or young without a father",
        ),
        (
            Parentage("dam_alone", 2, False, False, False),
            "Tested the parents of 2 young: it is the mother, and they have no father",
        ),
        (
            Dna("XY", "blood", "heterogametic", "CYP2-3", 3, 1),
            "Had DNA from a blood sample tested (XY, marker CYP2-3, run 3 times, 1 control "
            "failed): two different sex chromosomes",
        ),
        (
            Dna("ZW", "shed", "failed", replicates=1, failed_controls=0),
            "Had DNA from a shed skin tested (ZW, run once, no controls failed): no result",
        ),
    ],
)
def test_it_is_said_as_a_keeper_would(observed, said):
    assert found_in_words(observed) == said


def test_supposing_one_says_what_it_would_do():
    supposed = SupposedCall("parentage", "male", "laboratory")
    short = [female("owner", **OWNERS)]
    found = what_if(short, supposed, BALL, EMPTY, DEFAULT_POLICY, PARAMETERS)
    assert found.after.label == "verified male"
    told = SupposedCall("parentage", "male", "laboratory", reported=True, interested=True)
    found = what_if(short, told, BALL, EMPTY, DEFAULT_POLICY, PARAMETERS)
    assert not found.after.label.startswith("verified")
