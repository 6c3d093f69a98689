"""What rules are made of: limits as they were chosen, and values that nobody changes."""

import pytest

from scalewitness.domain.consequences import (
    Affected,
    Disclose,
    Hold,
    NotifyKeepers,
    OpenDispute,
    PairingView,
    Replan,
    SaleView,
)
from scalewitness.domain.facts import Representation
from scalewitness.domain.sales import Progress, Step
from scalewitness_cli import outbox

SOLD = Representation(
    animal="a", label="unsexed", p_male="0.500000", p_male_pessimistic="0.500000", position=0
)
VALUES = [
    Affected("pairing", "male", "fell"),
    Disclose("sale", "buyer", "fell", SOLD),
    Hold("sale", "standing_fell"),
    NotifyKeepers("fell"),
    OpenDispute(None),
    PairingView("pairing", "male", was_verified=True),
    Replan(()),
    SaleView("sale", "buyer", "paid", held=False, represented=SOLD),
    Progress(),
    Step("step", "offer_made"),
]


@pytest.mark.parametrize("value", VALUES, ids=lambda one: type(one).__name__)
def test_a_value_has_its_fields_and_nothing_else_and_keeps_them(value: object) -> None:
    (first, *_) = type(value).__slots__  # type: ignore[attr-defined]
    with pytest.raises(AttributeError):
        setattr(value, first, None)
    assert not hasattr(value, "__dict__")
    hash(value)


def test_the_commands_limits_and_what_is_open_there() -> None:
    assert (outbox.MOST_ITEMS, outbox.MOST_BYTES) == (500, 1_000_000)
    assert set(outbox.OPEN) == {"waiting", "held", "conflict", "refused", "clock"}
