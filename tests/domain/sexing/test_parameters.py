"""Every number has a value that makes sense, a status, and a source when published."""

from math import isfinite

import pytest
from tests.domain.sexing.builders import PARAMETERS, male

from scalewitness.domain.sexing.parameters import CURRENT, UnknownVersion, load_parameters
from scalewitness.domain.sexing.policy import DEFAULT_POLICY, adopted
from scalewitness.domain.sexing.records import EMPTY, ExaminerRecords, error_prior, session_error
from scalewitness.domain.sexing.sessions import anchoring

SEXES = ("male", "female")
BASE, PESSIMISTIC = PARAMETERS.base, PARAMETERS.pessimistic
EVERY = [*BASE.numbers.values(), *PESSIMISTIC.numbers.values(), *DEFAULT_POLICY.numbers]
STATUSES = {"published", "web page", "common practice", "from memory", "our judgement"}


def test_the_version_is_the_one_asked_for():
    assert load_parameters().version == CURRENT == "sexing-3"
    assert load_parameters("sexing-1").version == "sexing-1"
    with pytest.raises(UnknownVersion):
        load_parameters("../sexing-1")


def test_every_number_says_where_it_comes_from():
    for number in EVERY:
        assert isfinite(number.value), number
        assert number.value >= 0, number
        assert number.status in STATUSES, number
        assert number.source or number.status != "published", number


def test_every_share_is_a_share():
    counted = ("error.keeper", "error.vet", "error.lab", "error.earlier")
    scales = ("depth.sd_least", "depth.held")
    not_shares = ("sureness.", "session.", "error_by_sex.", *scales, *counted)
    for number in (*BASE.numbers.values(), *PESSIMISTIC.numbers.values()):
        if not number.name.startswith(not_shares):
            assert 0 <= number.value <= 1, number.name


def test_findings_are_never_impossible():
    findings = [n for n in BASE.numbers if n.count(".") > 2 or n.startswith(("probing", "visual"))]
    assert len(findings) > 60
    for name in findings:
        assert 0 < BASE.value(name) < 1
        assert 0 < PESSIMISTIC.value(name) < 1


def test_the_pessimistic_set_falls_back_on_the_base():
    assert PESSIMISTIC.numbers["mislead.probing.male"] is BASE.numbers["mislead.probing.male"]
    assert PESSIMISTIC.numbers["depth.outlier"] is not BASE.numbers["depth.outlier"]
    assert PESSIMISTIC.numbers["depth.outlier"].of == "pessimistic"
    assert set(BASE.numbers) < set(PESSIMISTIC.numbers)


def test_anchoring_is_the_published_drop_in_discordance():
    """Klompenhouwer et al. 2015: 57.2 % discordant blind, 29.1 % knowing."""
    informed = male(blind=False, anchored_to="male")
    assert anchoring(informed, BASE) == pytest.approx(1 - 29.1 / 57.2)
    assert anchoring(male(blind=False), BASE) == 0
    assert anchoring(male(anchored_to="male"), BASE) == 0  # blind whatever was known before


def test_starting_error_rates():
    """One in twenty for a keeper, of both sexes together, one in fifty for a veterinarian
    (our judgement)."""
    males, females = (error_prior(BASE, "keeper", "probing", sex) for sex in SEXES)
    assert males[0] > 2 > females[0]
    assert [(m + f) / 2 for m, f in zip(males, females, strict=True)] == pytest.approx([2, 38])
    assert error_prior(BASE, "veterinarian", "ultrasound", "male") == pytest.approx((1, 49))


def test_the_pessimistic_error_of_probing_is_katz():
    """Katz et al. 2020: 28 % wrong or unresolved; half of it unresolved is our judgement,
    which leaves 14 wrong of 86 answers. No examiner without a record is taken for better."""
    for role in ("keeper", "veterinarian", "laboratory"):
        assert _both_sexes(role) == pytest.approx(14 / 86)
    assert _both_sexes("earlier_keeper") == pytest.approx(8 / 40)


def _both_sexes(role):
    """The pessimistic share of wrong probings, of males and females alike."""
    wrong = [error_prior(PESSIMISTIC, role, "probing", sex) for sex in SEXES]
    return sum(a / (a + b) for a, b in wrong) / 2


def _error(call, numbers, records=EMPTY):
    return session_error(call, numbers, records, PARAMETERS)


def test_unsure_examiners_are_wrong_more_often():
    certain, fairly, unsure = (
        _error(male(sureness=word), BASE) for word in ("certain", "fairly_sure", "unsure")
    )
    assert certain == fairly == pytest.approx((0.05 * 1.15, 0.05 * 0.85))
    assert unsure == pytest.approx((0.1 * 1.15, 0.1 * 0.85))


def test_a_record_replaces_the_prior_for_its_method_and_sex_only():
    records = ExaminerRecords("r-7", {("ash", "probing", "male"): (3.0, 117.0)})
    female = 0.05 * 0.85
    assert _error(male("ash"), BASE, records) == pytest.approx((0.025, female))
    assert _error(male("birch"), BASE, records) == pytest.approx((0.05 * 1.15, female))


def test_a_record_moves_the_pessimistic_prior_by_the_same_checks():
    """(3.3, 116.7) is one wrong and 79 right beyond the keeper's (2.3, 37.7) for males."""
    records = ExaminerRecords("r-7", {("ash", "probing", "male"): (3.3, 116.7)})
    expected = (40 * 1.15 * 14 / 86 + 1) / (40 + 80)
    assert _error(male("ash"), PESSIMISTIC, records)[0] == pytest.approx(expected)
    older = ExaminerRecords("r-1", {("ash", "probing", "male"): (1.0, 9.0)})
    assert _error(male("ash"), PESSIMISTIC, older)[0] == pytest.approx(1.15 * 14 / 86)


def test_no_examiner_is_worse_than_a_coin():
    records = ExaminerRecords("r-9", {("ash", "probing", "female"): (90.0, 10.0)})
    assert _error(male("ash"), BASE, records)[1] == 0.5


def test_the_default_policy():
    assert DEFAULT_POLICY.version == "policy-1"
    assert (DEFAULT_POLICY.verified, DEFAULT_POLICY.verified_pessimistic) == (0.99, 0.95)
    assert (DEFAULT_POLICY.probable, DEFAULT_POLICY.contrary) == (0.9, 0.9)
    assert (DEFAULT_POLICY.examiners, DEFAULT_POLICY.blind_calls) == (2, 1)


def test_an_adopted_policy_changes_what_it_names():
    stricter = adopted("policy-2", {"verified": "0.995000"})
    assert (stricter.version, stricter.verified, stricter.probable) == ("policy-2", 0.995, 0.9)
    assert DEFAULT_POLICY.verified == 0.99


@pytest.mark.parametrize(
    "thresholds", [{"certain": "0.990000"}, {"verified": "1.000000"}, {"probable": "0.400000"}]
)
def test_a_policy_that_makes_no_sense_is_refused(thresholds):
    with pytest.raises(ValueError, match="threshold"):
        adopted("policy-2", thresholds)
