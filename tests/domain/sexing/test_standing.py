"""The account a standing gives of itself, and the share the log keeps."""

from math import log10

import pytest
from scipy.stats import beta
from tests.domain.sexing.builders import (
    CORN,
    HOUR,
    MASSASAUGA,
    call,
    female,
    male,
    probed,
    standing,
)

from scalewitness.domain.observations import Dna, Hearsay, ScaleCount, Ultrasound
from scalewitness.domain.sexing.case import share
from scalewitness.domain.sexing.records import ExaminerRecords


@pytest.mark.parametrize(
    ("p", "kept"),
    [
        (0.5, "0.500000"),
        (0.9876544, "0.987654"),
        (0.0000015, "0.000002"),  # half to even, both ways
        (0.0000025, "0.000002"),
        (0.0, "0.000001"),
        (1e-12, "0.000001"),
        (1.0, "0.999999"),
        (0.9999996, "0.999999"),
        (1 / 3, "0.333333"),
    ],
)
def test_a_share_has_six_decimals_and_is_never_certain(p, kept):
    assert share(p) == kept


@pytest.mark.parametrize("p", [-0.1, 1.1, float("nan"), float("inf")])
def test_what_is_no_probability_has_no_share(p):
    with pytest.raises(ValueError, match="probability"):
        share(p)


@pytest.mark.parametrize("prior", [0.0, 1.0, -1.0, float("nan")])
def test_a_prior_leaves_both_sexes_possible(prior):
    with pytest.raises(ValueError, match="prior"):
        standing(male(), prior_male=prior)


def test_a_call_counts_once():
    one = male()
    with pytest.raises(ValueError, match="twice"):
        standing(one, one)


def test_weights_are_in_log_order_and_say_what_was_used():
    late, early = male("birch", position=7002), female("ash", position=7001, sureness="unsure")
    found = standing(late, early)
    assert [weight.call for weight in found.weights] == [early.call, late.call]
    first, second = found.weights
    assert first.log10_lr < 0 < second.log10_lr
    assert first.epsilon == pytest.approx((0.115, 0.085))
    assert second.epsilon == pytest.approx((0.0575, 0.0425))
    assert second.alpha == (0.005, 0.002)
    assert (second.kappa, second.doubt, second.examiner) == (0, 0, "birch")
    assert len(second.passes) == 2
    assert second.passes[0][0] > second.passes[0][1]


def test_the_answer_without_a_call_is_the_answer_had_it_not_been_made():
    calls = [
        male("ash", at=0),
        male("ash", at=11 * HOUR),
        male("ash", at=22 * HOUR),  # taking out the first moves the occasions
        female("birch", identity="unconfirmed"),
        call("male", Hearsay("seller"), "sam"),
        call("undetermined", probed(6), "cedar"),
    ]
    found = standing(*calls)
    for weight in found.weights:
        rest = [one for one in calls if one.call != weight.call]
        assert weight.p_male_without == standing(*rest).p_male


def test_a_call_that_says_nothing_has_no_session():
    found = standing(male("ash"), call("undetermined", probed(6), "birch"))
    assert [weight.session for weight in found.weights] == [0, None]
    assert found.weights[1].log10_lr == 0
    assert found.weights[1].p_male_without == found.p_male
    assert found.weights[1].code == "undetermined"


def test_sessions_add_up_their_methods():
    calls = [male("ash", at=0), call("male", Ultrasound("testes"), "ash", at=HOUR)]
    found = standing(*calls, male("birch"))
    first, second = found.sessions
    assert first.calls == (calls[0].call, calls[1].call)
    assert first.log10_lr == pytest.approx(sum(w.log10_lr for w in found.weights[:2]))
    assert (second.examiner, second.position) == ("birch", found.sessions[1].position)
    assert second.log10_lr > log10(9)


def test_versions_are_named():
    found = standing(male(), records=ExaminerRecords("records-12"))
    assert (found.parameters, found.policy, found.records) == (
        "sexing-3",
        "policy-1",
        "records-12",
    )
    assert standing().records == "none"


def test_every_parameter_that_entered_is_listed_with_its_source():
    used = {(p.of, p.name): p for p in standing(male(blind=False, anchored_to="male")).used}
    assert used["base", "mislead.probing.male"].value == 0.005
    assert used["base", "anchoring.discordant_blind"].source.startswith("Klompenhouwer")
    assert used["pessimistic", "wrong_or_unresolved.probing"].source.startswith("Katz")
    assert (
        used["taxa", "python_regius.depth.male.high.1"].source
        == "Barker and Barker 2006, Ball Pythons"
    )
    assert used["policy", "verified"].value == 0.99
    assert not any("ultrasound" in name for _, name in used)


def test_what_did_not_enter_is_not_listed():
    names = {p.name for p in standing(call("undetermined", probed(5))).used}
    assert names == {p.name for p in standing().used}
    dna = standing(call("female", Dna("ZW", "shed", "heterogametic")), taxon=CORN)
    assert not any(p.of == "taxa" for p in dna.used)


def test_scale_ranges_are_listed_when_a_count_was_read():
    found = standing(call("male", ScaleCount(31)), taxon=MASSASAUGA)
    assert any(p.name == "sistrurus_catenatus.subcaudals.male.low.1" for p in found.used)


def test_the_order_of_the_list_of_parameters_is_fixed():
    used = standing(male("ash"), female("birch")).used
    keys = [(p.of, p.name) for p in used]
    assert keys == sorted(set(keys))


def test_the_examiners_own_records_that_entered_are_listed():
    """Keeper's prior Beta(2, 38) and 1 wrong, 2 right; quantiles by SciPy's beta."""
    places = [
        ("ash", "probing", "female"),
        ("ash", "ultrasound", "male"),
        ("elm", "probing", "male"),
    ]
    records = ExaminerRecords("records-7", dict.fromkeys(places, (3.0, 40.0)), {places[0]: (1, 2)})
    calls = male("ash"), call("undetermined", probed(5, stopped="aborted"), "elm"), male("birch")
    (used,) = standing(*calls, records=records).settled
    assert (used.examiner, used.method, used.sex, used.version) == (*places[0], "records-7")
    assert (used.wrong, used.right, used.calls) == (1, 2, (calls[0].call,))
    assert used.mean == pytest.approx(3 / 43)
    assert (used.low, used.high) == pytest.approx(tuple(beta(3, 40).ppf([0.025, 0.975])))
    assert standing(*calls).settled == ()


def test_a_better_record_moves_the_answer():
    good = ExaminerRecords(
        "r", {("ash", "probing", sex): (2.5, 197.5) for sex in ("male", "female")}
    )
    assert standing(male("ash"), records=good).p_male > standing(male("ash")).p_male
    assert standing(male("birch"), records=good).p_male == standing(male("birch")).p_male
