"""The sale's table, walked whole."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scalewitness.domain.sales import (
    MAY,
    RELIED_ON,
    STEPS,
    Progress,
    Step,
    advance,
    fold,
    refusal,
)

KINDS = sorted(MAY)


def step(kind: str) -> Step:
    return Step(id=kind, kind=kind, reason="standing_fell" if kind == "sale_held" else None)


def walk(kinds: list[str]) -> list[Progress]:
    """Take every step that is possible, skip the others, as the server does."""
    progress, seen = Progress(), []
    for kind in kinds:
        if refusal(progress, kind) is None:
            progress = advance(progress, step(kind))
            seen.append(progress)
    return seen


def test_the_plain_way_through() -> None:
    kinds = ["offer_made", "sale_confirmed", "payment_recorded", "handed_over", "sale_closed"]
    assert [one.state for one in walk(kinds)] == [
        "offered",
        "confirmed",
        "paid",
        "handed_over",
        "closed",
    ]


def test_every_step_in_the_table_has_a_party() -> None:
    assert {kind for _, kind in STEPS} == set(MAY)


@given(st.lists(st.sampled_from(KINDS), max_size=30))
def test_no_path_pays_before_confirming_or_while_held(kinds: list[str]) -> None:
    progress = Progress()
    confirmed_this_offer = False
    for kind in kinds:
        if refusal(progress, kind) is not None:
            continue
        if kind == "payment_recorded":
            assert confirmed_this_offer
            assert not progress.held
        progress = advance(progress, step(kind))
        if kind == "sale_confirmed":
            confirmed_this_offer = True
        elif kind == "offer_made":
            confirmed_this_offer = False
        if progress.state in RELIED_ON:
            assert confirmed_this_offer


def test_only_a_new_offer_lifts_a_hold() -> None:
    held = fold([step("offer_made"), step("sale_confirmed"), step("sale_held")])
    assert refusal(held, "payment_recorded") is not None
    renewed = advance(held, Step("second", "offer_made"))
    assert (renewed.state, renewed.held, renewed.offer) == ("offered", (), "second")


def test_a_step_that_does_not_follow_is_a_corrupt_record() -> None:
    with pytest.raises(ValueError, match="does not follow"):
        fold([step("payment_recorded")])
