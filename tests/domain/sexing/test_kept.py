"""A verified sex while learned numbers change: against an independent reading of the rule."""

from hypothesis import example, given
from hypothesis import strategies as st

from scalewitness.domain.sexing.case import Standing
from scalewitness.domain.sexing.kept import KEPT, Before, NextStanding, settled_against
from scalewitness.domain.sexing.policy import DEFAULT_POLICY

LABELS = ("verified male", "verified female", "probable male", "contested", "unsexed")
VERSIONS = ("sexing-3", "sexing-3.1", "sexing-3.2", "sexing-4", "sexing-4.1")


def standing(label: str, p_male: float) -> Standing:
    sex = label.split()[-1] if " " in label else None
    return Standing(label, p_male, p_male, sex, False, (f"why {label}",))  # type: ignore[arg-type]


def after(
    was: Before, now: Standing, numbers: str, others: dict[str, Standing], least: float = 0.985
) -> NextStanding:
    return settled_against(was, now, numbers, least, others.__getitem__)


STANDINGS = st.builds(standing, st.sampled_from(LABELS), st.floats(0.001, 0.999))
BEFORES = st.builds(
    lambda label, p, stated, older: Before(label, f"{p:.6f}", stated, older),
    st.sampled_from(LABELS),
    st.floats(0.001, 0.999),
    st.sampled_from(VERSIONS),
    st.sampled_from(("", *VERSIONS)),
)


@given(BEFORES, STANDINGS, st.sampled_from(VERSIONS), STANDINGS, STANDINGS)
@example(
    Before("verified female", "0.008000", "sexing-3"),
    standing("probable female", 0.013),
    "sexing-3.1",
    standing("verified female", 0.008),
    standing("verified female", 0.008),
)
def test_it_is_kept_where_older_numbers_verify_it_and_it_is_likely_enough(
    was: Before, now: Standing, numbers: str, older: Standing, stated: Standing
) -> None:
    met_with = was.verified_with or was.parameters
    found = after(was, now, numbers, {was.parameters: stated, met_with: older})
    held = was.label.removeprefix("verified ")
    likely = {"male": now.p_male, "female": 1 - now.p_male}.get(held, 0.0) >= 0.985
    same_model = met_with.split(".")[0] == numbers.split(".")[0] and met_with != numbers
    keeps = (
        was.label.startswith("verified")
        and now.label != was.label
        and same_model
        and older.label == was.label
        and likely
    )
    assert found.standing.label == (was.label if keeps else now.label)
    assert found.verified_with == (met_with if keeps else "")
    assert (found.standing.p_male, found.standing.p_male_pessimistic) == (now.p_male, now.p_male)
    if keeps:
        assert found.standing.reasons == (f"why {was.label}", "kept_as_numbers_changed")
        assert not found.by_numbers
    else:
        assert found.standing is now


WAS = Before("verified male", "0.997000", "sexing-3")
VERIFIED, STRONGER = standing("verified male", 0.997), standing("verified male", 0.998)
WEAKER = standing("verified male", 0.992)


def test_numbers_alone_took_it_away_where_nothing_that_came_in_made_it_less_likely() -> None:
    low = standing("probable male", 0.98)
    for found, alone in ((VERIFIED, True), (STRONGER, True), (WEAKER, False)):
        assert after(WAS, low, "sexing-3.1", {"sexing-3": found}).by_numbers is alone
    gone = standing("probable male", 0.95)
    assert not after(WAS, low, "sexing-3.1", {"sexing-3": gone}).by_numbers


def test_what_was_kept_and_falls_by_a_call_did_not_fall_by_numbers() -> None:
    """0.987 by the numbers in force, as it was stated; and the call brings it to 0.98."""
    kept = Before("verified male", "0.987000", "sexing-3.1", "sexing-3")
    low = standing("probable male", 0.98)
    assert not after(kept, low, "sexing-3.1", {"sexing-3": WEAKER, "sexing-3.1": low}).by_numbers


def test_what_was_kept_and_falls_by_the_next_numbers_fell_by_those() -> None:
    kept = Before("verified male", "0.987000", "sexing-3.1", "sexing-3")
    as_stated = standing("probable male", 0.987)
    others = {"sexing-3": VERIFIED, "sexing-3.1": as_stated}
    assert after(kept, standing("probable male", 0.98), "sexing-3.2", others).by_numbers


def test_it_is_asked_of_no_other_numbers_than_it_must() -> None:
    """Nearly every standing is settled without: a push must not get slower."""
    for was, now, numbers in (
        (WAS, VERIFIED, "sexing-3.1"),
        (WAS, standing("contested", 0.6), "sexing-3"),
        (Before("probable male", "0.950000", "sexing-3"), WEAKER, "sexing-3.1"),
        (WAS, standing("unsexed", 0.6), "sexing-4"),
    ):
        assert after(was, now, numbers, {}).standing is now


def test_the_share_is_asked_for_exactly() -> None:
    for p_male, label in ((0.985, "verified male"), (0.9849999, "probable male")):
        now = standing("probable male", p_male)
        assert after(WAS, now, "sexing-3.1", {"sexing-3": VERIFIED}).standing.label == label


def test_less_is_kept_than_verifies() -> None:
    assert DEFAULT_POLICY.probable < KEPT.value < DEFAULT_POLICY.verified
    assert KEPT.status == "our judgement"
