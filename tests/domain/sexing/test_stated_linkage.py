"""A keeper's statement of linkage: how far it moves an answer, and how far it never does.

The chance itself is checked in `test_linked_trait` (Mallery and Carrillo 2016); the share of
statements taken to be wrong is our judgement, so its effect is worked out by hand here.
"""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace
from tests.domain.sexing.builders import PARAMETERS, call, female, male, standing
from tests.domain.sexing.strategies import RECORDS

from scalewitness.domain.facts import LinkageStated
from scalewitness.domain.observations import Ultrasound
from scalewitness.domain.sexing.linkage_words import linkage_lines, with_linkage
from scalewitness.domain.sexing.linked_trait import ImpossibleYoung
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.policy import DEFAULT_POLICY
from scalewitness.domain.sexing.stated_linkage import EVEN, Origin, chance_alone, start_from

SIRE, DAM = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f", "017f22e2-79b0-7cc3-98c4-dc0c0c073990"
ORIGIN = Origin("python_regius", SIRE, DAM)


def stated(**other: Any) -> LinkageStated:
    """A son or daughter that shows the trait, of a sire who has it beside his Y."""
    said: dict[str, Any] = {
        "trait": "coral_glow",
        "shows": "one_copy",
        "sire": SIRE,
        "dam": DAM,
        "sire_copies": 1,
        "dam_copies": 0,
        "beside": "Y",
        "recombination": "0.050000",
        "provenance": "keepers_speak_of",
    }
    return LinkageStated(**said | other)


def start(said=None, origin=ORIGIN, parameters=PARAMETERS):
    return start_from(said or stated(), origin, parameters)


def standing_from(start, *calls, **other):
    return standing(*calls, prior_male=start.male, prior_pessimistic=start.pessimistic, **other)


SAID = st.builds(
    stated,
    shows=st.sampled_from(["nothing", "one_copy", "two_copies", "some_copies"]),
    sire_copies=st.sampled_from([0, 1, 2]),
    dam_copies=st.sampled_from([0, 1, 2]),
    beside=st.sampled_from([None, "X", "Y"]),
    recombination=st.integers(0, 500_000).map(lambda parts: f"{parts / 1e6:.6f}"),
)


def possible(said: LinkageStated) -> bool:
    try:
        return bool(chance_alone(said))
    except ImpossibleYoung:
        return False


def test_one_statement_by_hand():
    """0.95 if all of it is right, which three in four are: 0.75 · 0.95 + 0.25 / 2."""
    found = start()
    assert found.alone.p_male == pytest.approx(0.95)
    assert found.male == pytest.approx(0.8375)
    assert found.pessimistic == pytest.approx(0.5 * 0.95 + 0.25)
    # Keepers speak of 1 to 10 in 100; one in ten to one in two statements may be wrong.
    assert found.range == pytest.approx((0.5 * 0.9 + 0.25, 0.9 * 0.99 + 0.05))
    beside_x = start(stated(beside="X"))
    assert (beside_x.male, beside_x.pessimistic) == pytest.approx((0.1625, 0.275))


def test_the_fraction_stated_is_the_one_used_and_the_range_covers_it():
    found = start(stated(recombination="0.200000"))
    assert found.male == pytest.approx(0.75 * 0.8 + 0.125)
    assert found.low == pytest.approx(0.5 * 0.8 + 0.25)
    assert found.high == pytest.approx(0.9 * 0.99 + 0.05)


def test_a_phase_nobody_knows_says_nothing():
    found = start(stated(beside=None))
    assert (found.male, found.pessimistic, found.range) == (0.5, 0.5, None)
    assert "says nothing about its sex" in linkage_lines(found)[0].text


@pytest.mark.parametrize(
    "origin",
    [
        Origin("python_regius", SIRE, None),
        Origin("python_regius", DAM, SIRE),
        Origin("python_regius"),
        Origin("boa_imperator", SIRE, DAM),
    ],
)
def test_a_statement_about_other_parents_or_another_species_does_not_count(origin):
    found = start(origin=origin)
    assert (found.male, found.pessimistic, found.used) == (0.5, 0.5, ())
    (line,) = linkage_lines(found)
    assert "does not count" in line.text


def test_version_1_takes_no_statement():
    found = start(parameters=load_parameters("sexing-1"))
    assert (found.male, found.pessimistic, found.alone) == (0.5, 0.5, None)


def test_nothing_stated_leaves_an_even_start():
    assert start_from(None, ORIGIN, PARAMETERS) == EVEN
    assert linkage_lines(EVEN) == ()


@given(SAID.filter(possible))
def test_no_statement_alone_makes_a_sex_probable_or_speaks_as_loud_as_a_contrary_check(said):
    found = start(said)
    for share in (found.male, 1 - found.male):
        assert share < min(DEFAULT_POLICY.probable, DEFAULT_POLICY.contrary)
    assert abs(found.pessimistic - 0.5) <= abs(found.male - 0.5)
    alone = standing_from(found)
    assert (alone.label, alone.reasons) == ("unsexed", ("no_evidence",))
    assert alone.p_male == pytest.approx(found.male)
    assert alone.p_male_pessimistic == pytest.approx(found.pessimistic)


@given(SAID.filter(possible), RECORDS)
def test_whatever_is_stated_verified_still_needs_the_evidence_the_rule_names(said, record):
    """Decisive evidence, or two examiners of whom one was blind: never a statement."""
    found = standing_from(start(said), *record)
    if found.label.startswith("verified"):
        assert {"decisive_evidence", "examiners_agree"} & set(found.reasons)


def test_one_examiner_with_the_strongest_statement_does_not_verify():
    strongest = start(stated(recombination="0.000000"))
    calls = [male("ash", blind=False, interested=True) for _ in range(12)]
    found = standing_from(strongest, *calls)
    assert found.label == "probable male"
    assert {"needs_second_examiner", "needs_blind_call"} <= set(found.reasons)


def test_a_statement_is_outweighed_by_checks_of_two_methods():
    """Probing alone stays short of it in the pessimistic set, however often it is done."""
    probings = [female(who) for who in ("ash", "birch", "cedar", "dogwood")]
    assert standing_from(start(), *probings).label == "probable female"
    looked = call("female", Ultrasound("ovaries"), "elm", role="veterinarian")
    assert standing_from(start(), *probings, looked).label == "verified female"


def test_it_moves_the_answer_by_its_own_odds_only():
    found, even = standing_from(start(), male("ash")), standing(male("ash"))
    odds = [p / (1 - p) for p in (found.p_male, even.p_male)]
    assert odds[0] / odds[1] == pytest.approx(0.8375 / 0.1625)
    assert [w.log10_lr for w in found.weights] == [w.log10_lr for w in even.weights]


def test_what_is_said_names_the_numbers_and_where_they_come_from():
    reason, *cautions = linkage_lines(start())
    assert "shows one copy of coral glow" in reason.text
    assert "changes over in 5 in 100 (what keepers speak of)" in reason.text
    assert "someone with a share in the animal" in reason.text
    assert any("is not published where we could read it" in line.text for line in cautions)
    assert any("such an animal still needs a check" in line.text for line in cautions)
    used = {(one.of, one.name): one for one in start(stated(provenance="own_clutches")).used}
    assert used["linkage", "coral_glow.recombination"].status == "from memory"
    assert "own clutches" in used["linkage", "coral_glow.recombination"].source
    assert used["base", "linkage.misstated"].status == "our judgement"
    assert used["pessimistic", "linkage.misstated"].value == 0.5


def test_the_lines_keep_their_order():
    lines = with_linkage(linkage_lines(start(replace(stated(), beside=None))), start())
    kinds = [line.kind for line in lines]
    assert kinds == sorted(kinds, key=["answer", "reason", "call", "caution"].index)
