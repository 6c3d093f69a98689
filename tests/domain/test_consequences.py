"""What follows a change of standing, as a table (design: the table of disclosures)."""

import pytest

from scalewitness.domain.consequences import (
    ClaimedSale,
    Consequence,
    Disclose,
    DiscloseClaim,
    Hold,
    NotifyKeepers,
    OpenDispute,
    PairingView,
    Replan,
    ReplanForClaim,
    SaleView,
    consequences,
    may_affect_pairings,
    of_claim,
    sex_of,
    verified_sex,
)
from scalewitness.domain.facts import Representation
from scalewitness.domain.observations import Sex

VM, VF, PM, PF, C, U = (
    "verified male", "verified female", "probable male", "probable female", "contested", "unsexed",
)  # fmt: skip


def represented(label: str) -> Representation:
    return Representation(
        animal="a",
        label=label,  # type: ignore[arg-type]
        p_male="0.999000",
        p_male_pessimistic="0.990000",
        position=7,
    )


def sale(
    state: str, label: str = VM, disclosed: str = "stands", held: bool = False, name: str = "s"
) -> SaleView:
    return SaleView(name, "b", state, held, represented(label), disclosed)  # type: ignore[arg-type]


def shown(found: tuple[Consequence, ...]) -> list[str]:
    words = []
    for one in found:
        match one:
            case Hold():
                words.append(f"hold:{one.reason}")
            case Disclose():
                words.append(f"disclose:{one.change}")
            case OpenDispute():
                words.append("dispute")
            case NotifyKeepers():
                words.append(f"tell:{one.change}")
            case Replan():
                words += [f"{two.pairing}:{two.change}" for two in one.pairings]
    return words


@pytest.mark.parametrize(
    ("before", "after", "sales", "expected"),
    [
        # no sale: the keepers hear of a verified standing that goes, nobody else is owed
        (VM, C, [], ["tell:fell"]),
        (VM, VF, [], ["tell:reversed"]),
        (U, PM, [], []),
        (PM, VM, [], []),
        # offered or confirmed, unpaid: held
        (VM, C, [sale("offered")], ["hold:standing_fell", "dispute", "tell:fell"]),
        (VM, C, [sale("confirmed")], ["hold:standing_fell", "dispute", "tell:fell"]),
        (VM, VF, [sale("offered")], ["hold:standing_reversed", "tell:reversed"]),
        (VM, PM, [sale("offered")], ["hold:standing_fell", "tell:fell"]),
        (PM, PF, [sale("offered", PM)], ["hold:standing_reversed"]),
        (PM, U, [sale("confirmed", PM)], ["hold:standing_fell"]),
        (U, PM, [sale("offered", U)], ["hold:standing_changed"]),
        # better than promised, or already held: nothing more
        (PM, VM, [sale("offered", PM)], []),
        (VM, C, [sale("offered", held=True)], ["dispute", "tell:fell"]),
        # paid, handed over, closed: a disclosure
        (VM, C, [sale("paid")], ["disclose:fell", "dispute", "tell:fell"]),
        (VM, C, [sale("handed_over")], ["disclose:fell", "dispute", "tell:fell"]),
        (VM, C, [sale("closed")], ["disclose:fell", "dispute", "tell:fell"]),
        (VM, VF, [sale("closed")], ["disclose:reversed", "tell:reversed"]),
        (C, VF, [sale("closed", disclosed="fell")], ["disclose:reversed", "tell:reversed"]),
        (C, VM, [sale("closed", disclosed="fell")], ["disclose:restored", "tell:restored"]),
        (C, C, [sale("closed", disclosed="fell")], ["dispute"]),
        (PM, U, [sale("closed", disclosed="fell")], []),
        # sold as probable: nobody relied on a verified sex
        (PM, PF, [sale("paid", PM)], []),
        # ended sales owe nothing
        (VM, C, [sale("declined")], ["tell:fell"]),
        (VM, C, [sale("withdrawn")], ["tell:fell"]),
        (VM, C, [sale("lapsed")], ["tell:fell"]),
        # every later sale of the animal is disclosed to as well
        (VM, C, [sale("closed"), sale("paid")], ["disclose:fell"] * 2 + ["dispute", "tell:fell"]),
    ],
)  # fmt: skip
def test_what_follows(before: str, after: str, sales: list[SaleView], expected: list[str]) -> None:
    stood = "male" if any(one.disclosed != "stands" for one in sales) else None
    assert shown(consequences(before, after, sales, dispute_open=False, stood=stood)) == expected


@pytest.mark.parametrize(
    ("states", "hung_on"),
    [
        (["closed", "paid"], "sale 1"),
        (["closed", "closed", "offered"], "sale 2"),
        (["closed", "paid", "declined"], "sale 1"),
        (["paid", "draft", "lapsed", "withdrawn"], "sale 0"),
        (["declined"], None),
        ([], None),
    ],
)
def test_a_dispute_hangs_on_the_latest_sale_that_lives(
    states: list[str], hung_on: str | None
) -> None:
    sales = [sale(state, name=f"sale {number}") for number, state in enumerate(states)]
    found = consequences(VM, C, sales, dispute_open=False)
    opened = [one.sale for one in found if isinstance(one, OpenDispute)]
    assert opened == ([hung_on] if hung_on else [])


@pytest.mark.parametrize("state", ["draft", "declined", "withdrawn", "lapsed"])
def test_a_sale_that_came_to_nothing_is_neither_held_nor_disclosed(state: str) -> None:
    assert shown(consequences(VM, VF, [sale(state)], dispute_open=False)) == ["tell:reversed"]


HELD_FOR = {
    # offered as: and now the record says
    VM: {VM: None, VF: "reversed", PM: "fell", PF: "reversed", C: "fell", U: "fell"},
    VF: {VM: "reversed", VF: None, PM: "reversed", PF: "fell", C: "fell", U: "fell"},
    PM: {VM: None, VF: "reversed", PM: None, PF: "reversed", C: "fell", U: "fell"},
    PF: {VM: "reversed", VF: None, PM: "reversed", PF: None, C: "fell", U: "fell"},
    C: {VM: "changed", VF: "changed", PM: "changed", PF: "changed", C: None, U: None},
    U: {VM: "changed", VF: "changed", PM: "changed", PF: "changed", C: "changed", U: None},
}


@pytest.mark.parametrize("offered", HELD_FOR)
@pytest.mark.parametrize("state", ["offered", "confirmed"])
def test_why_an_unpaid_sale_is_held(offered: str, state: str) -> None:
    for after, reason in HELD_FOR[offered].items():
        found = consequences(offered, after, [sale(state, offered)], dispute_open=True)
        holds = [one for one in found if isinstance(one, Hold)]
        assert holds == ([Hold("s", f"standing_{reason}")] if reason else []), after  # type: ignore[arg-type]
        assert not any(isinstance(one, Disclose) for one in found)


DISCLOSED = {
    # sold as, last told: and now the record says
    (VM, "stands"): {VM: None, VF: "reversed", PM: "fell", PF: "fell", C: "fell", U: "fell"},
    (VM, "fell"): {VM: "restored", VF: "reversed", PM: None, PF: None, C: None, U: None},
    (VM, "reversed"): {VM: "restored", VF: None, PM: "fell", PF: "fell", C: "fell", U: "fell"},
    (VF, "stands"): {VM: "reversed", VF: None, PM: "fell", PF: "fell", C: "fell", U: "fell"},
    (VF, "fell"): {VM: "reversed", VF: "restored", PM: None, PF: None, C: None, U: None},
    (PM, "stands"): dict.fromkeys((VM, VF, PM, PF, C, U)),
    (PF, "stands"): dict.fromkeys((VM, VF, PM, PF, C, U)),
    (C, "stands"): dict.fromkeys((VM, VF, PM, PF, C, U)),
    (U, "stands"): dict.fromkeys((VM, VF, PM, PF, C, U)),
}


@pytest.mark.parametrize(("sold_as", "disclosed"), DISCLOSED)
@pytest.mark.parametrize("state", ["paid", "handed_over", "closed"])
def test_what_a_buyer_who_paid_is_disclosed(sold_as: str, disclosed: str, state: str) -> None:
    """Whether or not the sale was ever held."""
    for after, change in DISCLOSED[sold_as, disclosed].items():
        for held in (False, True):
            view = sale(state, sold_as, disclosed, held)
            found = consequences(sold_as, after, [view], dispute_open=True)
            owed = [one for one in found if isinstance(one, Disclose)]
            due = [Disclose("s", "b", change, represented(sold_as))] if change else []  # type: ignore[arg-type]
            assert owed == due, after
            assert not any(isinstance(one, Hold) for one in found)


KEEPERS_HEAR = {
    # the record said: and now says, of an animal that nobody was disclosed anything about
    VM: {VM: None, VF: "reversed", PM: "fell", PF: "fell", C: "fell", U: "fell"},
    VF: {VM: "reversed", VF: None, PM: "fell", PF: "fell", C: "fell", U: "fell"},
    PM: dict.fromkeys((VM, VF, PM, PF, C, U)),
    PF: dict.fromkeys((VM, VF, PM, PF, C, U)),
    C: dict.fromkeys((VM, VF, PM, PF, C, U)),
    U: dict.fromkeys((VM, VF, PM, PF, C, U)),
}


@pytest.mark.parametrize("before", KEEPERS_HEAR)
def test_what_the_keepers_hear(before: str) -> None:
    for after, change in KEEPERS_HEAR[before].items():
        for sales in ([], [sale("closed", PM)], [sale("declined", disclosed="fell")]):
            found = consequences(before, after, sales, dispute_open=True)
            heard = [one.change for one in found if isinstance(one, NotifyKeepers)]
            assert heard == ([change] if change else []), after
        assert may_affect_pairings(before, after) == (
            before != after and not {before, after} <= {C, U}
        )


HEARD_OF_A_FALL = {
    # verified last: what is said now, where none was verified in between
    "male": {VM: "restored", VF: "reversed", PM: None, PF: None, C: None, U: None},
    "female": {VM: "reversed", VF: "restored", PM: None, PF: None, C: None, U: None},
}


@pytest.mark.parametrize("stood", HEARD_OF_A_FALL)
@pytest.mark.parametrize("before", [PM, PF, C, U])
def test_keepers_who_heard_of_a_fall_hear_how_it_ended(stood: Sex, before: str) -> None:
    for after, change in HEARD_OF_A_FALL[stood].items():
        found = consequences(before, after, [], dispute_open=True, stood=stood)
        heard = [one.change for one in found if isinstance(one, NotifyKeepers)]
        assert heard == ([change] if change else []), after


def test_no_label_names_a_sex_by_a_part_of_its_words() -> None:
    assert [sex_of(one) for one in (VM, VF, PM, PF, C, U)] == [
        "male", "female", "male", "female", None, None,
    ]  # fmt: skip
    assert [verified_sex(one) for one in (VM, VF, PM, PF, C, U)] == ["male", "female", *[None] * 4]


def test_one_dispute_at_a_time() -> None:
    found = consequences(VM, C, [sale("paid")], dispute_open=True)
    assert shown(found) == ["disclose:fell", "tell:fell"]


def planned(sex: Sex, was: bool = True, name: str = "pairing") -> PairingView:
    return PairingView(name, sex, was)


@pytest.mark.parametrize(
    ("before", "after", "pairing", "expected"),
    [
        # what they planned on falls, is reversed, comes back
        (VM, C, planned("male"), ["pairing:fell"]),
        (VM, VF, planned("male"), ["pairing:reversed"]),
        (C, VM, planned("male"), ["pairing:restored"]),
        (VF, VM, planned("male"), ["pairing:restored"]),
        (VF, PM, planned("male"), ["pairing:fell"]),
        # a plan on what was never verified: the first verdict counts only where it is against it
        (PM, VM, planned("male", was=False), []),
        (PM, VF, planned("male", was=False), ["pairing:reversed"]),
        # but whoever heard that it was reversed hears what came of that
        (VF, VM, planned("male", was=False), ["pairing:restored"]),
        (VM, VF, planned("female", was=False), ["pairing:restored"]),
        (VF, C, planned("male", was=False), ["pairing:fell"]),
        # planned as the other sex all along
        (VM, C, planned("female", was=False), ["pairing:fell"]),
        (PF, VF, planned("female", was=False), []),
        # nothing verified moved
        (PM, C, planned("male"), []),
        (VM, VM, planned("male"), []),
        # the record speaks for the other sex without verifying it, and stops
        (U, PF, planned("male", was=False), ["pairing:turned"]),
        (PM, PF, planned("male", was=False), ["pairing:turned"]),
        (VM, PF, planned("male"), ["pairing:turned"]),
        (VF, PF, planned("male", was=False), ["pairing:turned"]),
        (PF, VF, planned("male", was=False), ["pairing:reversed"]),
        (PF, VM, planned("male", was=False), ["pairing:restored"]),
        (PF, C, planned("male", was=False), ["pairing:eased"]),
        (PF, PM, planned("male", was=False), ["pairing:eased"]),
        (U, PM, planned("male", was=False), []),
        (PM, U, planned("male", was=False), []),
    ],
)  # fmt: skip
def test_what_keepers_of_planned_pairings_hear(
    before: str, after: str, pairing: PairingView, expected: list[str]
) -> None:
    found = shown(consequences(before, after, [], [pairing], dispute_open=False))
    assert [one for one in found if one.startswith("pairing")] == expected
    assert not expected or may_affect_pairings(before, after), "else they are never looked up"


def test_all_pairings_are_told_of_at_once() -> None:
    both = [planned("male", name="one"), planned("female", name="two")]
    found = consequences(VM, VF, [], both, dispute_open=False)
    assert shown(found[-1:]) == ["one:reversed", "two:restored"]


@pytest.mark.parametrize(
    ("now", "state", "held", "heard", "owed"),
    [
        ("fell", "offered", False, "stands", Hold("s", "claim_fell")),
        ("fell", "confirmed", False, "stands", Hold("s", "claim_fell")),
        ("withdrawn", "confirmed", False, "stands", Hold("s", "claim_withdrawn")),
        ("fell", "confirmed", True, "stands", None),
        ("stands", "offered", False, "stands", None),
        ("fell", "paid", False, "stands", DiscloseClaim("s", "fell")),
        ("fell", "closed", False, "stands", DiscloseClaim("s", "fell")),
        ("fell", "handed_over", False, "fell", None),
        ("withdrawn", "paid", False, "stands", DiscloseClaim("s", "withdrawn")),
        ("withdrawn", "paid", False, "fell", None),
        ("stands", "paid", False, "fell", DiscloseClaim("s", "restored")),
        ("stands", "paid", False, "stands", None),
        ("fell", "released", False, "stands", None),
        ("fell", "declined", False, "stands", None),
    ],
)
def test_what_is_owed_of_a_claim(now, state, held, heard, owed):
    sale = ClaimedSale("s", state, held, heard)
    assert of_claim(now, [sale]) == ((owed,) if owed else ())


@pytest.mark.parametrize(
    ("now", "fell", "change"),
    [
        ("fell", False, "fell"),
        ("withdrawn", False, "withdrawn"),
        ("withdrawn", True, None),
        ("stands", True, "restored"),
        ("stands", False, None),
    ],
)
def test_what_is_owed_of_a_claim_to_who_planned_on_it(now, fell, change):
    owed = of_claim(now, [], ["one", "two"], fell=fell)
    assert owed == ((ReplanForClaim(("one", "two"), change),) if change else ())
    assert of_claim(now, [], fell=fell) == ()
