"""The sale's table, beside one written by hand, and walked."""

from typing import cast

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scalewitness.domain.sales import (
    AGREED,
    HANDED_OVER,
    LIVE,
    MAY,
    PROMISED,
    RELIED_ON,
    STEPS,
    UNPAID,
    Progress,
    State,
    Step,
    advance,
    fold,
    refusal,
)

KINDS = sorted(MAY)

TABLE = """
state       offer   withdraw  pay  hand_over   close  decline  ask     confirm   hold      lapse   answer      plead release  refuse arrive
draft       offered -         -    -           -      -        -       -         -         -       -           -     -        - -
offered     offered withdrawn -    -           -      declined offered confirmed offered   lapsed  -           -     -        - -
confirmed   offered withdrawn paid -           -      -        -       -         confirmed lapsed  -           -     -        - -
paid        -       -         -    handed_over -      -        -       -         -         -       -           paid  released paid paid
handed_over -       -         -    -           closed -        -       -         -         -       handed_over -     -        - handed_over
closed      -       -         -    -           -      -        -       -         -         -       closed      -     -        - closed
declined    offered -         -    -           -      -        -       -         -         -       -           -     -        - -
withdrawn   offered -         -    -           -      -        -       -         -         -       -           -     -        - -
lapsed      offered -         -    -           -      -        -       -         -         -       -           -     -        - -
released    -       -         -    -           -      -        -       -         -         -       -           -     -        - -
"""  # noqa: E501
"""What each act makes of a sale in each state that is not held; ``-``: it does not follow."""
HEAD, *ROWS = (line.split() for line in TABLE.strip().splitlines())
ACTS = HEAD[1:]
STATES: list[State] = [cast(State, row[0]) for row in ROWS]
WHILE_HELD = {
    "offer": "offered",
    "withdraw": "withdrawn",
    "decline": "declined",
    "ask": "offered",
    "hold": "offered",
    "lapse": "lapsed",
}
"""Of an offer under a hold: nobody confirms it."""
KIND_OF = {
    "offer": "offer_made",
    "withdraw": "offer_withdrawn",
    "pay": "payment_recorded",
    "hand_over": "handed_over",
    "close": "sale_closed",
    "decline": "offer_declined",
    "ask": "check_requested",
    "confirm": "sale_confirmed",
    "hold": "sale_held",
    "lapse": "offer_lapsed",
    "answer": "return_answered",
    "arrive": "arrival_compared",
    "plead": "release_asked",
    "release": "release_agreed",
    "refuse": "release_denied",
}


@pytest.mark.parametrize(
    ("state", "act", "after"),
    [
        (state, act, after)
        for state, *outcomes in ROWS
        for act, after in zip(ACTS, outcomes, strict=True)
    ],
)
def test_what_each_act_makes_of_a_sale(state: State, act: str, after: str) -> None:
    progress, kind = Progress(state, "first"), KIND_OF[act]
    if after == "-":
        words = {"handed_over": "handed over"}.get(state, state)
        said = f"{kind.replace('_', ' ').capitalize()} does not follow a sale that is {words}."
        assert refusal(progress, kind) == said
        return
    assert refusal(progress, kind) is None
    found = advance(progress, step(kind))
    assert found.state == after
    assert found.offer == (kind if act == "offer" else "first")
    assert found.held == (("standing_fell",) if act == "hold" else ())


@pytest.mark.parametrize("act", ACTS)
def test_what_each_act_makes_of_a_held_offer(act: str) -> None:
    held, kind = Progress("offered", "first", ("standing_fell",)), KIND_OF[act]
    after = WHILE_HELD.get(act)
    if after is None:
        assert refusal(held, kind) is not None
        return
    found = advance(held, step(kind))
    assert found.state == after
    still = {"ask": ("standing_fell",), "hold": ("standing_fell", "standing_fell")}
    assert found.held == still.get(act, ())


@pytest.mark.parametrize("act", ["confirm", "pay", "hand_over"])
def test_a_held_sale_says_that_a_new_offer_is_needed(act: str) -> None:
    """Whatever the state: also where the act would not follow anyway."""
    for state in STATES:
        said = refusal(Progress(state, "first", ("standing_fell",)), KIND_OF[act])
        assert said == "The sale is held because the record changed; a new offer is needed first."


def test_whose_step_each_is() -> None:
    assert {
        party: {act for act in ACTS if MAY[KIND_OF[act]] == party} for party in set(MAY.values())
    } == {
        "seller": {"offer", "withdraw", "pay", "hand_over", "close", "plead"},
        "buyer": {"decline", "ask", "confirm", "answer", "arrive", "release", "refuse"},
        "system": {"hold", "lapse"},
    }
    assert set(MAY) == set(KIND_OF.values())


def test_what_the_states_are_called_together() -> None:
    assert set(UNPAID) == {"offered", "confirmed"}
    assert set(HANDED_OVER) == {"handed_over", "closed"}
    assert set(RELIED_ON) == {"paid", "handed_over", "closed"}
    assert set(PROMISED) == {"confirmed", "paid", "handed_over", "closed"}
    assert set(AGREED) == {"confirmed", "paid", "handed_over", "closed", "released"}
    assert set(LIVE) == {"offered", "confirmed", "paid", "handed_over", "closed"}


@pytest.mark.parametrize("state", STATES)
def test_a_hold_shows_only_on_what_is_unpaid(state: State) -> None:
    held = Progress(state, "first", ("standing_fell",))
    assert held.is_held == (state in {"offered", "confirmed"})
    assert not Progress(state, "first").is_held


def test_a_hold_without_a_reason_is_a_hold() -> None:
    found = advance(Progress("offered", "first"), Step("one", "sale_held"))
    assert found.held == ("held",)
    assert Progress() == Progress("draft", None, ())


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
