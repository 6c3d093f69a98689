"""What follows a change of standing, as a table (design: the table of disclosures)."""

import pytest

from scalewitness.domain.consequences import (
    Consequence,
    Disclose,
    Hold,
    OpenDispute,
    SaleView,
    TellKeepers,
    consequences,
)
from scalewitness.domain.facts import Representation

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
