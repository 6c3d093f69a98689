"""The second version against its formula written out, and what its two readings buy."""

from math import exp, log

import pytest
from tests.domain.sexing import builders
from tests.domain.sexing.builders import (
    BALL,
    DAY,
    HOUR,
    call,
    female,
    male,
    probed,
)

from scalewitness.domain.observations import Endoscopy, Hearsay, Reproduction, Ultrasound
from scalewitness.domain.sexing.likelihood import log_ratio, total
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.records import EMPTY
from scalewitness.domain.sexing.sessions import Weigher

PARAMETERS = load_parameters("sexing-2")


def standing(*calls):
    return builders.standing(*calls, parameters=PARAMETERS)


def _weigher():
    return Weigher(BALL, EMPTY, PARAMETERS, PARAMETERS.base)


def _sessions(*calls):
    weigher = _weigher()
    return weigher.sessions([weigher.weigh(one) for one in calls])


def _odds(*calls):
    return exp(log_ratio(total(_weigher().log_likelihoods(_sessions(*calls)))))


def _seen(one):
    """(male, female) chances of what was seen, errors aside."""
    pair = _weigher().weigh(one).reading.pair
    return exp(pair[0]), exp(pair[1])


EPSILON, ALPHA_MALE, ALPHA_FEMALE = 0.05, 0.005, 0.002  # keeper, probing


def _slip(male_chance, female_chance, epsilon=EPSILON):
    return (
        (1 - epsilon) * male_chance + epsilon * female_chance,
        (1 - epsilon) * female_chance + epsilon * male_chance,
    )


def _mislead(male_chance, female_chance):
    return ((1 - ALPHA_MALE) * male_chance + ALPHA_MALE * female_chance) / (
        (1 - ALPHA_FEMALE) * female_chance + ALPHA_FEMALE * male_chance
    )


def test_one_session_by_hand():
    one = male()
    assert _odds(one) == pytest.approx(_mislead(*_slip(*_seen(one))))


def test_two_sessions_by_hand():
    one, two = male("ash"), female("birch")
    first, second = _slip(*_seen(one)), _slip(*_seen(two))
    expected = _mislead(first[0] * second[0], first[1] * second[1])
    assert _odds(one, two) == pytest.approx(expected)


def test_methods_multiply():
    one, two = male("ash"), call("male", Ultrasound("testes"), "vera", role="veterinarian")
    assert _odds(one, two) == pytest.approx(_odds(one) * _odds(two))


def test_the_misled_term_without_session_error_differs_by_next_to_nothing():
    """With L(S̄) in place of A(S̄) for one session, as the formula is first written down."""
    one = male()
    seen = _seen(one)
    slipped = _slip(*seen)
    literal = ((1 - ALPHA_MALE) * slipped[0] + ALPHA_MALE * seen[1]) / (
        (1 - ALPHA_FEMALE) * slipped[1] + ALPHA_FEMALE * seen[0]
    )
    assert log(_odds(one)) == pytest.approx(log(literal), abs=0.005)


def test_hundreds_of_agreeing_sessions_never_turn_the_answer():
    """With L(S̄) the odds would fall by 1 − ε with every further session."""
    odds = [_odds(*(male(f"keeper-{n}") for n in range(count))) for count in (5, 20, 100, 400)]
    limit = (1 - ALPHA_MALE) / ALPHA_FEMALE
    assert odds[0] == pytest.approx(limit, rel=1e-3)
    assert odds[1:] == pytest.approx([limit] * 3, rel=1e-12)


def test_calls_of_one_occasion_share_one_error():
    together = [male(at=0), male(at=HOUR)]
    apart = [male(at=0), male(at=2 * DAY)]
    assert len(_sessions(*together)) == 1
    assert len(_sessions(*apart)) == 2
    assert _odds(*together) < 20 < _odds(*apart)


def test_a_session_is_as_sure_as_its_surest_call():
    unsure, sure = male(at=0, sureness="unsure"), male(at=HOUR)
    assert _odds(unsure, sure) >= _odds(sure)


def test_a_session_is_as_well_identified_as_its_best_call():
    unread, read = male(at=0, identity="unconfirmed"), male(at=HOUR)
    assert _odds(unread, read) >= _odds(read)


@pytest.mark.parametrize(("hours", "sessions"), [(12, 1), (12.01, 2)])
def test_an_occasion_lasts_twelve_hours(hours, sessions):
    assert len(_sessions(male(at=0), male(at=int(hours * HOUR)))) == sessions


def test_an_occasion_is_counted_from_its_first_call():
    calls = [male(at=int(hours * HOUR)) for hours in (0, 7, 14)]
    assert [len(s.calls) for s in _sessions(*calls)] == [2, 1]


def test_two_examiners_at_once_are_two_sessions():
    assert len(_sessions(male("ash", at=0), male("birch", at=0))) == 2


def test_one_session_may_hold_several_methods():
    calls = [male(at=0), call("male", Ultrasound("testes"), at=HOUR)]
    (session,) = _sessions(*calls)
    assert [part.method for part in session.parts] == ["probing", "ultrasound"]
    assert exp(session.log_ratio) == pytest.approx(_odds(*calls))


def test_unconfirmed_identity_is_a_chance_of_the_other_sex():
    unconfirmed = male(identity="unconfirmed")
    doubt, slipped = 0.005, _slip(*_seen(unconfirmed))
    assert _odds(unconfirmed) == pytest.approx(_mislead(*_slip(*slipped, epsilon=doubt)))


def test_unconfirmed_identity_is_to_first_order_added_to_alpha():
    unconfirmed = male(identity="unconfirmed")
    slipped = _slip(*_seen(unconfirmed))
    added = ((1 - 0.010) * slipped[0] + 0.010 * slipped[1]) / (
        (1 - 0.007) * slipped[1] + 0.007 * slipped[0]
    )
    assert log(_odds(unconfirmed)) == pytest.approx(log(added), abs=0.005)


def test_an_unconfirmed_call_does_not_cost_a_confirmed_one_anything():
    assert _odds(male("ash"), male("birch", identity="unconfirmed")) > _odds(male("ash"))


def test_however_many_look_unread_they_may_all_have_looked_at_another_animal():
    odds = _odds(*(male(f"keeper-{n}", identity="unconfirmed") for n in range(50)))
    assert odds < 0.995 / 0.005


def test_a_repeated_statement_never_passes_three_to_one():
    calls = [call("male", Hearsay("seller"), f"seller-{n}") for n in range(100)]
    assert 2.9 < _odds(*calls) <= 3 + 1e-9


def test_agreeing_in_the_know_adds_less_than_agreeing_blind():
    first = male("ash")
    blind = _odds(first, male("birch"))
    knowing = _odds(first, male("birch", blind=False, anchored_to="male"))
    assert _odds(first) < knowing < blind / 5


def test_agreeing_in_the_know_is_worth_at_most_two_to_one():
    """1/κ with κ = 1 − 29.1/57.2 (Klompenhouwer et al. 2015)."""
    knowing = _odds(male(blind=False, anchored_to="male"))
    assert knowing < 1 / (1 - 29.1 / 57.2) < 2.04


def test_disagreeing_in_the_know_keeps_its_weight():
    blind = _odds(female())
    knowing = _odds(female(blind=False, anchored_to="male"))
    assert knowing == pytest.approx(blind, rel=0.1)


@pytest.mark.parametrize(
    "observed", [Reproduction("laid_eggs", True), Endoscopy("ovaries")], ids=["eggs", "ovaries"]
)
def test_what_does_not_depend_on_reading_is_not_anchored(observed):
    blind = call("female", observed, role="veterinarian")
    told = call("female", observed, role="veterinarian", blind=False, anchored_to="female")
    assert _odds(told) == _odds(blind)


def test_an_unsure_call_weighs_less():
    assert _odds(male(sureness="unsure")) < _odds(male(sureness="fairly_sure"))


def test_a_veterinarian_outweighs_a_keeper():
    picture = Ultrasound("hemipenes")
    assert _odds(call("male", picture, role="veterinarian")) > 1.5 * _odds(call("male", picture))


def test_aborted_passes_leave_the_record_as_it_is():
    before = standing(male("ash"), male("birch"))
    after = standing(
        male("ash"), male("birch"), call("female", probed(1, 1, stopped="aborted"), "cedar")
    )
    assert after.p_male == before.p_male
    assert after.label == before.label == "verified male"
