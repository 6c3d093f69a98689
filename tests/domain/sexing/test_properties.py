"""What must hold for any calls whatever, in every version of the numbers."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from msgspec.structs import replace
from tests.domain.sexing.builders import male, standing
from tests.domain.sexing.strategies import RECORDS, TAXA, calls

from scalewitness.domain.observations import saw_both
from scalewitness.domain.sexing.evidence import other
from scalewitness.domain.sexing.parameters import (
    VERSIONS,
    Parameters,
    ParameterSet,
    load_parameters,
)
from scalewitness.domain.sexing.policy import DEFAULT_POLICY

pytestmark = pytest.mark.one_in(2)

NUMBERS = st.sampled_from([load_parameters(version) for version in VERSIONS])


@given(RECORDS, TAXA, st.randoms(use_true_random=False), NUMBERS)
def test_the_order_in_which_calls_are_passed_changes_nothing(record, kind, random, numbers):
    shuffled = random.sample(record, len(record))
    assert standing(*shuffled, taxon=kind, parameters=numbers) == standing(
        *record, taxon=kind, parameters=numbers
    )


@given(RECORDS, TAXA, st.randoms(use_true_random=False), NUMBERS)
def test_the_order_of_the_log_does_not_move_the_probability(record, kind, random, numbers):
    """But for one examiner's own, whose first on an occasion shows what they knew."""
    places = random.sample(range(len(record)), len(record))
    own = {who: sorted(p for p, o in zip(places, record, strict=True) if o.examiner == who)
           for who in {one.examiner for one in record}}  # fmt: skip
    moved = [replace(one, position=own[one.examiner].pop(0)) for one in record]
    before, after = (
        standing(*record, taxon=kind, parameters=numbers),
        standing(*moved, taxon=kind, parameters=numbers),
    )
    assert after.p_male == pytest.approx(before.p_male, abs=1e-12)
    assert after.p_male_pessimistic == pytest.approx(before.p_male_pessimistic, abs=1e-12)


@given(st.floats(0.001, 0.999), TAXA, NUMBERS)
def test_without_calls_the_prior_stands(prior, kind, numbers):
    assert standing(taxon=kind, prior_male=prior, parameters=numbers).p_male == pytest.approx(
        prior, rel=1e-12
    )


@given(RECORDS, TAXA, calls(conclusions=("undetermined",)), st.integers(0, 8), NUMBERS)
def test_a_call_that_says_nothing_changes_nothing(record, kind, silent, place, numbers):
    assume(not saw_both(silent.observed))
    silent = replace(silent, call="silent", position=place)
    shifted = [replace(one, position=one.position + (one.position >= place)) for one in record]
    before, after = (
        standing(*record, taxon=kind, parameters=numbers),
        standing(*shifted, silent, taxon=kind, parameters=numbers),
    )
    assert (after.p_male, after.p_male_pessimistic) == (before.p_male, before.p_male_pessimistic)
    assert (after.label, after.reasons) == (before.label, before.reasons)


@given(RECORDS, TAXA, calls(conclusions=("male", "female"), examiners="z"), NUMBERS)
def test_a_new_examiners_agreeing_blind_call_never_lowers(record, kind, added, numbers):
    added = replace(added, call="added", position=99, blind=True, anchored_to=None)
    before, after = (
        standing(*record, taxon=kind, parameters=numbers),
        standing(*record, added, taxon=kind, parameters=numbers),
    )
    sign = 1 if added.conclusion == "male" else -1
    assert (after.p_male - before.p_male) * sign >= -1e-12
    assert (after.p_male_pessimistic - before.p_male_pessimistic) * sign >= -1e-12


@given(RECORDS, TAXA, calls(conclusions=("male", "female"), examiners="z"), NUMBERS)
def test_agreement_in_the_know_never_says_more_than_the_same_call_blind(
    record, kind, added, numbers
):
    added = replace(added, call="added", position=99)
    blind, knowing = (
        standing(*record, replace(added, blind=b, anchored_to=to), taxon=kind, parameters=numbers)
        for b, to in ((True, None), (False, added.conclusion))
    )
    sign = 1 if added.conclusion == "male" else -1
    assert (blind.p_male - knowing.p_male) * sign >= -1e-12
    assert (blind.p_male_pessimistic - knowing.p_male_pessimistic) * sign >= -1e-12


@given(RECORDS, TAXA, NUMBERS)
def test_leaving_a_call_out_is_the_record_without_it(record, kind, numbers):
    for weight in standing(*record, taxon=kind, parameters=numbers).weights:
        rest = [one for one in record if one.call != weight.call]
        assert weight.p_male_without == standing(*rest, taxon=kind, parameters=numbers).p_male


@given(RECORDS, TAXA, st.sampled_from([0.2, 0.5, 0.97]), NUMBERS)
def test_a_verified_sex_has_met_the_rule(record, kind, prior, numbers):
    found = standing(*record, taxon=kind, prior_male=prior, parameters=numbers)
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


def _mirrored(given):
    sets = map(_swapped_numbers, (given.base, given.pessimistic))
    return Parameters(given.version, *sets)  # which names the formula


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
        counts=tuple(replace(one, male=one.female, female=one.male) for one in kind.counts),
    )


@given(RECORDS, TAXA, NUMBERS)
def test_swapping_the_sexes_mirrors_the_answer(record, kind, numbers):
    """Conclusions, ranges and parameters exchanged, everything seen left as it was."""
    found = standing(*record, taxon=kind, parameters=numbers)
    mirrored = standing(
        *map(_mirror, record), taxon=_mirrored_taxon(kind), parameters=_mirrored(numbers)
    )
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
