"""Labels under another rule, with a prior, and by a record that moves later."""

import pytest
from tests.domain.sexing.builders import (
    female,
    male,
    standing,
)
from tests.domain.sexing.test_labels import owner

from scalewitness.domain.sexing.policy import adopted
from scalewitness.domain.sexing.records import ExaminerRecords


def test_a_stricter_policy_asks_for_more():
    strict = adopted("policy-2", {"verified": "0.999000"})
    found = standing(owner(), male("birch"), policy=strict)
    assert (found.label, found.policy) == ("probable male", "policy-2")
    assert found.reasons == ("below_0.999",)


def test_a_prior_from_a_sex_linked_trait_counts():
    found = standing(prior_male=0.93)
    assert found.p_male == pytest.approx(0.93)
    assert (found.label, found.reasons) == ("probable male", ("no_evidence",))
    assert standing(female("ash"), prior_male=0.93).p_male > standing(female("ash")).p_male


# --- a record that moves later ------------------------------------------------------------


def _record(who, wrong, right):
    places = [(who, "probing", sex) for sex in ("male", "female")]
    return ExaminerRecords(
        f"records-{wrong}-{right}", dict.fromkeys(places, (2 + wrong, 38 + right))
    )


def test_a_record_that_worsens_later_erases_no_past_fall():
    seen, contrary = [male("ash"), male("ben"), male("dan")], female("cora")
    after = _record("cora", wrong=12, right=8)
    assert standing(*seen).label == "verified male"
    fell = standing(*seen, contrary)
    assert (fell.label, "fell_from_male" in fell.reasons) == ("contested", True)
    later = standing(*seen, contrary, records=after)
    assert later.label == "contested"
    assert "fell_from_male" in later.reasons
    restored = standing(*seen, contrary, male("eve"), records=after)
    assert (restored.label, "restored" in restored.reasons) == ("verified male", True)
