"""Which calls make an examiner's record, and what it then says."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scalewitness.domain.sexing.examiners.beta import interval
from scalewitness.domain.sexing.examiners.posterior import (
    Counts,
    Determination,
    Proof,
    error_rate,
    records,
    settle,
    settled,
    truth_without,
)
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.records import EMPTY, error_prior

BASE = load_parameters().base
ASH_MALES = ("ash", "probing", "male")


def called(conclusion, animal="kestrel", truth="male", **other):
    given = {"examiner": "ash", "method": "probing", "animal": animal}
    return Determination(conclusion=conclusion, truth=truth, **(given | other))


def test_wrong_right_and_undetermined_are_counted_apart():
    calls = [
        called("female", "one"),
        called("male", "two"),
        called("male", "three"),
        called("undetermined", "four"),
        called("male", "five", truth="female"),
        called("male", "six", truth=None),
    ]
    assert settled(calls) == {
        ASH_MALES: Counts(wrong=1, right=2, undetermined=1),
        ("ash", "probing", "female"): Counts(wrong=1),
    }


def test_methods_and_examiners_have_records_of_their_own():
    calls = [called("male"), called("male", method="eversion"), called("male", examiner="birch")]
    assert set(settled(calls)) == {
        ASH_MALES,
        ("ash", "eversion", "male"),
        ("birch", "probing", "male"),
    }


def test_a_call_that_knew_the_answer_earns_nothing():
    calls = [called("male", str(n), blind=False) for n in range(50)]
    assert settled(calls) == {ASH_MALES: Counts(knowing=50)}


def test_an_animal_counts_once_by_its_first_conclusion():
    calls = [called("undetermined"), called("female"), called("male"), called("male")]
    assert settled(calls) == {ASH_MALES: Counts(wrong=1)}


def test_a_blind_look_that_found_nothing_outranks_a_knowing_one():
    assert settled([called("male", blind=False), called("undetermined")]) == {
        ASH_MALES: Counts(undetermined=1)
    }
    assert settled([called("undetermined"), called("male", blind=False)]) == {
        ASH_MALES: Counts(undetermined=1)
    }


def test_nobody_settles_an_animal_against_themselves():
    proofs = [Proof("kestrel", "ash", "female")]
    assert truth_without("ash", proofs) is None
    assert truth_without("birch", proofs) == "female"
    calls = [called("male", truth=None), called("male", truth=None, examiner="birch")]
    assert [call.truth for call in settle(calls, proofs)] == [None, "female"]


def test_proofs_that_disagree_settle_nothing():
    proofs = [Proof("kestrel", "birch", "female"), Proof("kestrel", "cedar", "male")]
    assert truth_without("ash", proofs) is None
    assert truth_without("birch", proofs) == "male"


def test_an_unsettled_animal_keeps_no_truth():
    assert settle([called("male")], []) == [called("male", truth=None)]


def test_a_record_starts_from_the_prior_of_the_role():
    prior = error_prior(BASE, "keeper", "probing", "male")
    rate = error_rate(ASH_MALES, Counts(wrong=2, right=18, undetermined=3), prior)
    assert rate.posterior == (prior[0] + 2, prior[1] + 18)
    assert rate.mean == pytest.approx((prior[0] + 2) / (sum(prior) + 20))
    assert (rate.low, rate.high) == interval(rate.posterior)
    assert rate.low < rate.mean < rate.high


def test_records_are_what_a_standing_reads():
    counts = settled([called("female", "one"), called("male", "two")])
    prior = error_prior(BASE, "veterinarian", "probing", "male")
    rates = [error_rate(key, found, prior) for key, found in counts.items()]
    made = records("records-7", rates)
    assert made.version == "records-7"
    assert made.rates == {ASH_MALES: (prior[0] + 1, prior[1] + 1)}
    assert records("none", []).rates == EMPTY.rates


@given(st.permutations([(str(n), c) for n, c in enumerate(["male"] * 4 + ["female"] * 3)]))
def test_the_order_of_animals_does_not_matter(calls):
    assert settled([called(conclusion, animal) for animal, conclusion in calls]) == {
        ASH_MALES: Counts(wrong=3, right=4)
    }


@given(st.integers(0, 30), st.integers(0, 30))
def test_swapping_the_sexes_mirrors_the_record(wrong, right):
    def tally(truth, other):
        calls = [called(other, f"w{n}", truth=truth) for n in range(wrong)]
        calls += [called(truth, f"r{n}", truth=truth) for n in range(right)]
        return settled(calls).get(("ash", "probing", truth))

    assert tally("male", "female") == tally("female", "male")
