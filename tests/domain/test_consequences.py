"""What follows a change of standing, as a table (design: the table of disclosures)."""

import pytest

from scalewitness.domain.consequences import (
    Consequence,
    Disclose,
    Hold,
    OpenDispute,
    PairingView,
    Replan,
    SaleView,
    TellKeepers,
    consequences,
    may_affect_pairings,
)
from scalewitness.domain.facts import Representation
from scalewitness.domain.observations import Sex

VM, VF, PM, PF, C, U = (
    "verified male", "verified female", "probable male", "probable female", "contested", "unsexed",
)  # fmt: skip


def represented(label: str) -> Representation:
    return Representation(
        animal="a",
        label=label,
        p_male="0.999000",
        p_male_pessimistic="0.990000",
        position=7,  # type: ignore[arg-type]
    )


def sale(state: str, label: str = VM, told: str = "stands", held: bool = False) -> SaleView:
    return SaleView("s", "b", state, held, represented(label), told)  # type: ignore[arg-type]


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
            case TellKeepers():
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
        (C, VF, [sale("closed", told="fell")], ["disclose:reversed", "tell:restored"]),
        (C, VM, [sale("closed", told="fell")], ["disclose:restored", "tell:restored"]),
        (C, C, [sale("closed", told="fell")], ["dispute"]),
        (PM, U, [sale("closed", told="fell")], []),
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
    assert shown(consequences(before, after, sales, dispute_open=False)) == expected


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
        (U, PF, planned("male", was=False), []),
        # planned as the other sex all along
        (VM, C, planned("female", was=False), ["pairing:fell"]),
        (PF, VF, planned("female", was=False), []),
        # nothing verified moved
        (PM, C, planned("male"), []),
        (VM, VM, planned("male"), []),
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
