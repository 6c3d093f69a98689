"""What must hold for any calls whatever."""

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
    male,
    standing,
)

from scalewitness.domain.observations import (
    Dna,
    Endoscopy,
    Eversion,
    Pass,
    Probing,
    Radiography,
    Reproduction,
    ScaleCount,
    Statement,
    Ultrasound,
    Visual,
)
from scalewitness.domain.sexing.evidence import Evidence, other
from scalewitness.domain.sexing.parameters import Parameters, ParameterSet
from scalewitness.domain.sexing.policy import DEFAULT_POLICY

SEXES = st.sampled_from(["male", "female"])
TAXA = st.sampled_from([BALL, BOA, CORN, SCRUB, MASSASAUGA])

PASSES = st.builds(
    Pass,
    st.sampled_from(["left", "right"]),
    st.integers(0, 60).map(lambda halves: f"{halves / 2:g}"),
    st.sampled_from(["resistance", "resistance", "choice", "aborted"]),
)
OBSERVATIONS = st.one_of(
    st.builds(Probing, st.lists(PASSES, max_size=4).map(tuple)),
    st.builds(
        Eversion,
        st.sampled_from(["manual", "spontaneous"]),
        st.sampled_from(["hemipenes", "nothing", "unclear"]),
    ),
    st.builds(
        Ultrasound,
        st.sampled_from(["hemipenes", "testes", "ovaries", "follicles", "pockets", "unclear"]),
    ),
    st.builds(Radiography, st.booleans(), st.sampled_from(["hemipenes", "none", "unclear"])),
    st.builds(Endoscopy, st.sampled_from(["testes", "ovaries", "unclear"])),
    st.builds(
        Dna,
        st.sampled_from(["XY", "ZW"]),
        st.just("shed"),
        st.sampled_from(["heterogametic", "homogametic", "failed"]),
    ),
    st.builds(Reproduction, st.sampled_from(["laid_eggs", "gave_birth"]), st.booleans()),
    st.builds(ScaleCount, st.integers(15, 40)),
    st.builds(Visual, st.sampled_from(["tail", "spurs", "size", "slough_plugs", "other"])),
    st.builds(Statement, st.sampled_from(["seller", "earlier_keeper", "papers"])),
)
KNOWING = st.one_of(
    st.just({"blind": True, "anchored_to": None}),
    st.builds(lambda sex: {"blind": False, "anchored_to": sex}, st.one_of(st.none(), SEXES)),
)


@st.composite
def calls(draw, conclusions=("male", "female", "undetermined"), examiners="abcd"):
    """One call; positions and names are given by the list it goes into."""
    return Evidence(
        call="",
        examiner=draw(st.sampled_from(examiners)),
        role=draw(st.sampled_from(["keeper", "veterinarian", "laboratory", "earlier_keeper"])),
        at=draw(st.integers(0, 8)) * DAY // 4,
        position=0,
        stage=draw(st.sampled_from(["hatchling", "juvenile", "adult", "unknown"])),
        conclusion=draw(st.sampled_from(conclusions)),
        sureness=draw(st.sampled_from(["certain", "fairly_sure", "unsure"])),
        observed=draw(OBSERVATIONS),
        identity=draw(st.sampled_from(["confirmed", "confirmed", "unconfirmed", "mismatch"])),
        interested=draw(st.booleans()),
        **draw(KNOWING),
    )


def numbered(drawn):
    return [replace(one, call=f"call-{n}", position=n) for n, one in enumerate(drawn)]


RECORDS = st.lists(calls(), max_size=8).map(numbered)


@given(RECORDS, TAXA, st.randoms(use_true_random=False))
def test_the_order_in_which_calls_are_passed_changes_nothing(record, kind, random):
    shuffled = random.sample(record, len(record))
    assert standing(*shuffled, taxon=kind) == standing(*record, taxon=kind)


@given(RECORDS, TAXA, st.randoms(use_true_random=False))
def test_the_order_of_the_log_does_not_move_the_probability(record, kind, random):
    places = random.sample(range(len(record)), len(record))
    moved = [replace(one, position=place) for one, place in zip(record, places, strict=True)]
    before, after = standing(*record, taxon=kind), standing(*moved, taxon=kind)
    assert after.p_male == pytest.approx(before.p_male, abs=1e-12)
    assert after.p_male_pessimistic == pytest.approx(before.p_male_pessimistic, abs=1e-12)


@given(st.floats(0.001, 0.999), TAXA)
def test_without_calls_the_prior_stands(prior, kind):
    assert standing(taxon=kind, prior_male=prior).p_male == pytest.approx(prior, rel=1e-12)


@given(RECORDS, TAXA, calls(conclusions=("undetermined",)), st.integers(0, 8))
def test_a_call_that_says_nothing_changes_nothing(record, kind, silent, place):
    silent = replace(silent, call="silent", position=place)
    shifted = [replace(one, position=one.position + (one.position >= place)) for one in record]
    before, after = standing(*record, taxon=kind), standing(*shifted, silent, taxon=kind)
    assert (after.p_male, after.p_male_pessimistic) == (before.p_male, before.p_male_pessimistic)
    assert (after.label, after.reasons) == (before.label, before.reasons)


@given(RECORDS, TAXA, calls(conclusions=("male", "female"), examiners="z"))
def test_a_new_examiners_agreeing_blind_call_never_lowers(record, kind, added):
    added = replace(added, call="added", position=99, blind=True, anchored_to=None)
    before, after = standing(*record, taxon=kind), standing(*record, added, taxon=kind)
    sign = 1 if added.conclusion == "male" else -1
    assert (after.p_male - before.p_male) * sign >= -1e-12
    assert (after.p_male_pessimistic - before.p_male_pessimistic) * sign >= -1e-12


@given(RECORDS, TAXA)
def test_leaving_a_call_out_is_the_record_without_it(record, kind):
    for weight in standing(*record, taxon=kind).weights:
        rest = [one for one in record if one.call != weight.call]
        assert weight.p_male_without == standing(*rest, taxon=kind).p_male


@given(RECORDS, TAXA, st.sampled_from([0.2, 0.5, 0.97]))
def test_a_verified_sex_has_met_the_rule(record, kind, prior):
    found = standing(*record, taxon=kind, prior_male=prior)
    assert 0 < found.p_male < 1
    if found.label.startswith("verified"):
        male = found.favoured == "male"
        pair = (found.p_male, found.p_male_pessimistic)
        share, pessimistic = pair if male else (1 - pair[0], 1 - pair[1])
        assert share >= DEFAULT_POLICY.verified
        assert pessimistic >= DEFAULT_POLICY.verified_pessimistic
        agreeing = [one for one in record if one.conclusion == found.favoured]
        assert found.decisive or len({one.examiner for one in agreeing}) >= 2
        assert found.decisive or any(one.blind and not one.interested for one in agreeing)


# --- the two sexes are treated alike ----------------------------------------------------

_PAIRS = (("male", "female"), ("says_male", "says_female"), ("males_only", "females_only"))
_SWAPPED = {one: two for pair in _PAIRS for one, two in (pair, pair[::-1])}


def _swapped_name(name):
    return ".".join(_SWAPPED.get(word, word) for word in name.split("."))


def _swapped_numbers(numbers):
    return ParameterSet({_swapped_name(name): number for name, number in numbers.numbers.items()})


MIRRORED = Parameters(
    "mirrored",
    _swapped_numbers(PARAMETERS.base),
    _swapped_numbers(PARAMETERS.pessimistic),
)


def _mirror(one):
    conclusion = one.conclusion if one.conclusion == "undetermined" else other(one.conclusion)
    knew = None if one.anchored_to is None else other(one.anchored_to)
    return replace(one, conclusion=conclusion, anchored_to=knew)


def _mirrored_taxon(kind):
    return replace(
        kind,
        female_range=kind.male_range,
        male_range=kind.female_range,
        female_subcaudals=kind.male_subcaudals,
        male_subcaudals=kind.female_subcaudals,
    )


@given(RECORDS, TAXA)
def test_swapping_the_sexes_mirrors_the_answer(record, kind):
    """Conclusions, ranges and parameters exchanged, everything seen left as it was."""
    found = standing(*record, taxon=kind)
    mirrored = standing(*map(_mirror, record), taxon=_mirrored_taxon(kind), parameters=MIRRORED)
    assert mirrored.p_male == pytest.approx(1 - found.p_male, abs=1e-9)
    assert mirrored.p_male_pessimistic == pytest.approx(1 - found.p_male_pessimistic, abs=1e-9)
    word, _, sex = found.label.partition(" ")
    assert mirrored.label == (f"{word} {other(sex)}" if sex else word)


@pytest.mark.parametrize("count", [50, 400])
def test_hundreds_of_calls_stay_finite(count):
    probed_alike = [male(f"keeper-{n}") for n in range(count)]
    found = standing(*probed_alike)
    assert 0.99 < found.p_male < 1
    assert found.p_male_pessimistic < 1
