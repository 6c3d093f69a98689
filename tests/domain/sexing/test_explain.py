"""What a buyer reads."""

import re

import pytest
from tests.domain.sexing.builders import (
    BALL,
    BOA,
    CORN,
    MASSASAUGA,
    SCRUB,
    call,
    female,
    male,
    probed,
    standing,
)

from scalewitness.domain.observations import (
    Dna,
    Endoscopy,
    Eversion,
    Hearsay,
    Radiography,
    Reproduction,
    ScaleCount,
    Ultrasound,
    Visual,
)
from scalewitness.domain.sexing.explain import explain, in_short
from scalewitness.domain.sexing.sensitivity import span_in_words
from scalewitness.domain.sexing.words import about, chance, odds

JARGON = re.compile(
    r"likelihood|posterior|prior\b|epsilon|alpha|kappa|log|bayes|anchor|decisive|"
    r"pessimistic|probability|evert|homogametic|heterogametic|radiograph|_",
    re.IGNORECASE,
)

EVERYTHING = [
    male("ash", interested=True, blind=False),
    male("birch"),
    female("cedar", blind=False, anchored_to="male", sureness="unsure"),
    call("male", probed(), "daisy", identity="unconfirmed", sureness="fairly_sure"),
    call("male", probed(6.5, stopped="choice"), "elm"),
    call("undetermined", probed(5, stopped="aborted"), "fern"),
    call("female", probed(5, stopped="aborted"), "fern"),
    call("male", probed(3), "fern"),
    call("male", Eversion("manual", "hemipenes"), "ash", stage="hatchling"),
    call("female", Eversion("spontaneous", "nothing"), "ash"),
    call("male", Ultrasound("unclear"), "vera", role="veterinarian"),
    call("female", Radiography(True, "none"), "vera", role="veterinarian"),
    call("male", Radiography(False, "hemipenes"), "vera", role="veterinarian"),
    call("female", Endoscopy("ovaries"), "vera", role="veterinarian"),
    call("male", Dna("XY", "shed", "heterogametic"), "lab", role="laboratory"),
    call("male", Dna("ZW", "swab", "homogametic"), "lab", role="laboratory"),
    call("male", Dna("ZW", "swab", "failed"), "lab", role="laboratory"),
    call("female", Reproduction("laid_eggs", True), "olive", identity="mismatch"),
    call("female", Reproduction("gave_birth", False), "olive"),
    call("male", ScaleCount(31), "ash"),
    call("female", ScaleCount(27), "ash"),
    call("male", Visual("slough_plugs"), "ash"),
    call("female", Hearsay("papers"), "sam"),
]


def _lines(*calls, taxon=BALL):
    return explain(standing(*calls, taxon=taxon), calls, taxon)


def _text(*calls, taxon=BALL):
    return "\n".join(line.text for line in _lines(*calls, taxon=taxon))


@pytest.mark.parametrize("kind", [BALL, BOA, CORN, SCRUB, MASSASAUGA], ids=lambda kind: kind.key)
def test_everything_can_be_said_without_jargon_or_names(kind):
    text = _text(*EVERYTHING, taxon=kind)
    assert not JARGON.search(text), JARGON.search(text)
    for examiner in {one.examiner for one in EVERYTHING}:
        assert not re.search(rf"\b{examiner}\b", text)


@pytest.mark.parametrize("count", range(len(EVERYTHING) + 1))
def test_every_record_has_an_answer_and_a_line_for_each_call(count):
    calls = EVERYTHING[:count]
    lines = _lines(*calls)
    assert lines[0].kind == "answer"
    about = [line for line in lines if line.kind == "call"]
    assert [line.call for line in about] == [one.call for one in calls]
    assert [line.examiner for line in about] == [one.examiner for one in calls]
    assert [line.at for line in about] == [one.at for one in calls]
    for line in lines:
        assert line.text[0].isupper()
        assert line.text.endswith((".", ")."))
        assert "  " not in line.text


def test_a_probing_is_told_with_what_is_usual():
    (line,) = (line for line in _lines(male("ash")) if line.kind == "call")
    assert "left side 9 scales deep; right side 9 scales deep" in line.text
    assert "females usually probe 2 to 4 scales and males 8 to 10" in line.text
    assert "speaks strongly for a male (" in line.text


def test_a_lower_bound_is_told_as_one():
    assert "left side 6.5 scales deep or deeper" in _text(
        call("male", probed(6.5, stopped="choice"))
    )
    assert "left side 1 scale deep;" in _text(call("female", probed(1)))


def test_who_knew_what_is_told():
    assert "Checked without knowing any earlier answer." in _text(male())
    knew = _text(male(), male("birch", blind=False, anchored_to="male"))
    assert "Knew that it had been called male." in knew
    assert "agreeing with it counts for much less" in knew
    against = _text(male(), female("birch", blind=False, anchored_to="male"))
    assert "still disagreed with it" in against
    assert "had a share in the animal" in _text(male(interested=True))


@pytest.mark.parametrize("interested", [True, False])
def test_a_reported_call_is_told_as_hearsay_whose_interest_is_the_senders(interested):
    seen, vet = Ultrasound("hemipenes"), {"role": "veterinarian", "blind": False}
    text = _text(call("male", seen, "vera", interested=interested, **vet))
    assert "No earlier answer is said to have been known." in text
    assert "reported at second hand" in text
    assert ("by someone with a share in the animal" in text) == interested
    assert "The examiner had a share" not in text
    told = _text(call("male", seen, "vera", anchored_to="male", **vet))
    assert "It is said to have been known that it had been called male." in told


def test_what_is_missing_is_told():
    text = _text(male("ash"))
    assert "A second examiner has yet to come to the same answer." in text
    needed = "Verified needs 99 in 100, it has 95; and 95 read strictly, it has "
    assert text.count("Verified needs") == text.count(needed) == 1


def test_a_fall_is_told():
    text = _text(male("ash"), male("birch"), female("cedar"))
    assert text.startswith("The calls contradict each other")
    assert "It had counted as verified male until a call contradicted that." in text


def test_an_open_answer_is_told():
    assert "does not favour either" in _text()
    leaning = _text(call("male", Hearsay("seller"), "sam"))
    assert "not established; what there is leans towards male" in leaning


def test_dna_of_a_species_without_a_test_is_told_to_be_no_evidence():
    text = _text(call("male", Dna("XY", "shed", "heterogametic"), role="laboratory"))
    assert "so it is no evidence" in text
    valid = _text(call("male", Dna("XY", "shed", "heterogametic"), role="laboratory"), taxon=BOA)
    assert "no evidence" not in valid


def test_in_short_a_buyer_first_reads_who_looked_then_figures():
    alone = (male(interested=True, blind=False),)
    assert in_short(standing(*alone), alone).answer.endswith(" such animals would be male.")
    assert "checked it without knowing" in in_short(standing(*alone), alone).why
    agreed = (male("ash"), male("birch"), male("cedar"))
    assert in_short(standing(*agreed), agreed).why.startswith("Separate examiners came")


def test_in_short_a_contested_sex_is_said_to_be_before_any_figure():
    calls = (male("ash"), male("birch"), male("cedar"), female("daisy"))
    assert in_short(standing(*calls), calls).answer.startswith("The calls contradict each other")


def test_in_short_what_favours_no_sex_is_one_sentence():
    assert in_short(standing(), ()) == (explain(standing(), (), BALL)[0].text, "")


def test_the_first_caution_is_that_it_was_another_animal():
    cautions = [one.text for one in _lines(male(compared="another")) if one.kind == "caution"]
    assert "another animal was in hand" in cautions[0]


def test_cautions_are_about_the_methods_used():
    assert "tenses" in _text(male())
    assert "tenses" not in _text(call("male", Hearsay("seller")))
    assert "nothing about a male kept with it" in _text(
        call("female", Reproduction("laid_eggs", True))
    )


def test_uncertain_ranges_are_told():
    assert "Sources differ" in _text(call("male", probed(8)), taxon=BOA)
    assert "told from memory, without a source" in _text(call("male", probed(11)), taxon=CORN)
    known = _text(male())
    assert "Sources differ" not in known
    assert "probing alone never verifies" not in known


def test_another_animal_in_a_photo_is_told():
    told = "another animal was in hand"
    assert _text(male(compared="another")).count(told) == 1
    assert told not in _text(male(compared="same"), male("birch"))


def test_an_unread_identity_is_told_once():
    told = "no code of this animal was read from it"
    assert _text(male(identity="unconfirmed")).count(told) == 1
    verified = _text(male("ash"), male("birch"), male("cedar", identity="unconfirmed"))
    assert verified.count(told) == 1
    assert told not in _text(male())


def test_nothing_is_said_to_be_about_more_than_something():
    assert (about(0.92), about(0.999999)) == ("about 92 in 100", "more than 99,990 in 100,000")


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (0.588, 0.998, "between 58.8 and 99.8"),
        (0.9999, 0.99999, "more than 99.9"),
        (0.00001, 0.0009, "less than 0.1"),
    ],
)
def test_a_span_whose_ends_read_alike_is_said_once(low, high, words):
    assert span_in_words(low, high) == words


@pytest.mark.parametrize(
    ("p", "words"),
    [
        (0.5, "50 in 100"),
        (0.57, "57 in 100"),
        (0.98, "98 in 100"),
        (0.981, "981 in 1,000"),
        (0.9966, "996 in 1,000"),  # towards less certainty
        (0.99955, "9,995 in 10,000"),
        (0.99997, "99,997 in 100,000"),
        (0.999999, "more than 99,990 in 100,000"),
    ],
)
def test_chances_are_counts_of_animals(p, words):
    assert chance(p) == words


@pytest.mark.parametrize(
    ("log10_odds", "words"),
    [(0.0, "1 to 1"), (0.18, "1.5 to 1"), (0.954, "9 to 1"), (2.0, "100 to 1")],
)
def test_odds_as_people_say_them(log10_odds, words):
    assert odds(log10_odds) == words
