"""Hatch day on the phone: from a planned pairing, or from dam and sire, young are registered with
tag and weight and sexed that day or later, without a keyboard and without a signal; each of it
arrives once and in its order, whatever becomes of the tab."""

import pytest
from playwright.sync_api import expect
from tests.browser.rackside.conftest import Phone, Racks, all_sent, moment, stored
from tests.browser.rackside.hatching import (
    Clutch,
    Thumb,
    answer,
    begin,
    clutch,
    entries_of,
    sex,
    signed_in,
    weigh,
)

from scalewitness.domain.translog.leaf import Leaf

MOST_TAPS = 6
"""For one of the young, with weight and observation."""
TO_BEGIN = 10
SEXES = ["male", "female", "undetermined"]


def test_a_clutch_is_registered_weighed_and_sexed_in_few_taps_without_a_signal(
    racks: Racks, phone: Phone, request: pytest.FixtureRequest
) -> None:
    """Of twenty; in an ordinary run of eight."""
    young = 20 if request.config.getoption("--all") else 8
    made = clutch(racks, "HA")
    page = signed_in(phone, made)
    phone.context.set_offline(True)
    thumb = Thumb(page)
    begin(thumb, made, str(young))
    begun = thumb.taps
    weigh(thumb, [f"{11 + number / 10:.1f}" for number in range(young)])
    thumb.tap(page.get_by_role("link", name="Sex them"))
    expect(page.get_by_text("The yolk may not be taken up yet")).to_be_visible()
    assert page.locator("input[type=radio]:checked").count() == 0
    answer(thumb)
    sex(thumb, young)
    assert not stored(page)["outbox"], "nothing is stated before its keeper says so"
    thumb.press(f"Register {young} young with {young} calls")
    expect(page.locator("#announcement")).to_contain_text("saved here")
    print(f"Hatch day, {young} young: {thumb.taps} taps, {begun} before the first is weighed")  # noqa: T201
    assert thumb.taps <= MOST_TAPS * young + TO_BEGIN
    phone.context.set_offline(False)
    all_sent(page)
    each_once(entries_of(racks, made), made, young)


def each_once(found: dict[str, list[Leaf]], made: Clutch, young: int) -> None:
    tags = [f"{made.stem}-D-{moment()[2:4]}-{number:02}" for number in range(1, young + 1)]
    assert sorted(found) == tags
    kinds = ("animal_registered", "identifier_assigned", "husbandry_noted", "call_made")
    assert {tuple(one.kind for one in of) for of in found.values()} == {kinds}
    assert None not in [one.sig for of in found.values() for one in of]
    assert [found[tag][3].body["conclusion"] for tag in tags[:3]] == SEXES
    registered, _, weight, call = found[tags[0]]
    assert registered.body["sire"] == made.sire
    assert weight.body == {"noted": {"type": "weight", "grams": "11"}}
    assert call.body == {
        "conclusion": "male",
        "sureness": "fairly_sure",
        "observed": {"method": "eversion", "manner": "manual", "seen": "hemipenes"},
        "identified": {"by": "tag", "code": tags[0]},
        "held_by": "examiner",
    }
