"""Hatch day on the phone: from a planned pairing, or from dam and sire, young are registered with
tag and weight and sexed that day or later, without a keyboard and without a signal; each of it
arrives once and in its order, whatever becomes of the tab."""

from dataclasses import dataclass

from playwright.sync_api import Locator, Page, expect
from tests.browser.rackside.conftest import (
    HERE,
    Phone,
    Racks,
    all_sent,
    fresh_id,
    moment,
    said,
    stored,
    until,
)

from scalewitness.domain.translog.leaf import Leaf

MOST_TAPS = 120
"""For twenty young with weight and observation."""
TO_BEGIN = 10
WEIGHTS = [f"{11 + number / 10:.1f}" for number in range(20)]
SEEN = ["Hemipenes", "Nothing", "Unclear"]
SEXES = ["male", "female", "undetermined"]


@dataclass
class Thumb:
    """Counts its taps."""

    page: Page
    taps: int = 0

    def tap(self, what: Locator) -> None:
        self.taps += 1
        what.click()
        typed_in = "document.activeElement.matches('input:not([inputmode=none], [type=radio])')"
        assert not self.page.evaluate(typed_in), "a keyboard comes up"

    def press(self, name: str) -> None:
        self.tap(self.page.get_by_role("button", name=name, exact=True))

    def key_in(self, number: str) -> None:
        for one in number:
            self.press("point" if one == "." else one)

    def choose(self, legend: str, label: str) -> None:
        group = self.page.get_by_role("group", name=legend, exact=True)
        self.tap(group.get_by_label(label, exact=True))


@dataclass
class Clutch:
    """Odile's pairing, and where its young go."""

    pairing: str
    dam: str
    sire: str
    stem: str


def clutch(racks: Racks, stem: str) -> Clutch:
    visit = racks.visit(f"{stem}-S", f"{stem}-D")
    sire, dam = visit.animals.values()
    made = Clutch(fresh_id(), dam, sire, stem)
    body = {"sire": sire, "dam": dam, "season": int(moment()[:4])}
    racks.push(racks.odile, said("pairing_planned", made.pairing, body))
    return made


def signed_in(phone: Phone, made: Clutch) -> Page:
    page = phone.signed_in("odile")
    until(page, lambda: made.pairing in str(stored(page)["meta"]), "the pairing to be kept")
    return page


def begin(thumb: Thumb, made: Clutch, number: str) -> None:
    """From one's own animals to the first of the young."""
    page = thumb.page
    page.goto(f"{HERE}#/own")
    thumb.tap(page.get_by_role("link", name="Hatch day"))
    thumb.tap(page.locator(f"a[href='#/hatch/new?pairing={made.pairing}']"))
    thumb.key_in(number)
    thumb.press("Begin")
    expect(page.get_by_role("heading", level=1)).to_contain_text("-01")


def weigh(thumb: Thumb, weights: list[str]) -> None:
    for number, weight in enumerate(weights, start=1):
        expect(thumb.page.get_by_role("heading", level=1)).to_contain_text(f"-{number:02}")
        thumb.key_in(weight)
        thumb.press("Next")


def answer(thumb: Thumb) -> None:
    thumb.choose("Had anyone told you their sex before you checked?", "Nobody")
    thumb.choose("Who holds them?", "I did")
    thumb.choose("How sure are you, where you can tell?", "Fairly sure")


def entries_of(racks: Racks, made: Clutch) -> dict[str, list[Leaf]]:
    """What the log holds of each of the young, in its order, by tag."""
    young = [
        one.about for one in racks.entries("animal_registered") if one.body.get("dam") == made.dam
    ]
    found = {about: [one for one in racks.entries() if one.about == about] for about in young}
    return {
        one.body["code"]: [each for each in of if each.kind != "standing_changed"]
        for of in found.values()
        for one in of
        if one.kind == "identifier_assigned"
    }


def sex(thumb: Thumb, number: int) -> None:
    for at in range(number):
        expect(thumb.page.get_by_role("heading", level=1)).to_contain_text(f"-{at + 1:02}")
        thumb.press(SEEN[at % 3])


def test_twenty_are_registered_weighed_and_sexed_in_few_taps_without_a_signal(
    racks: Racks, phone: Phone
) -> None:
    made = clutch(racks, "HA")
    page = signed_in(phone, made)
    phone.context.set_offline(True)
    thumb = Thumb(page)
    begin(thumb, made, "20")
    begun = thumb.taps
    weigh(thumb, WEIGHTS)
    thumb.tap(page.get_by_role("link", name="Sex them"))
    expect(page.get_by_text("The yolk may not be taken up yet")).to_be_visible()
    assert page.locator("input[type=radio]:checked").count() == 0
    answer(thumb)
    sex(thumb, 20)
    assert not stored(page)["outbox"], "nothing is stated before its keeper says so"
    thumb.press("Register 20 young with 20 calls")
    expect(page.locator("#announcement")).to_contain_text("saved here")
    print(f"Hatch day, 20 young: {thumb.taps} taps, {begun} before the first is weighed")  # noqa: T201
    assert thumb.taps <= MOST_TAPS + TO_BEGIN
    phone.context.set_offline(False)
    all_sent(page)
    each_once(entries_of(racks, made), made)


def each_once(found: dict[str, list[Leaf]], made: Clutch) -> None:
    tags = [f"{made.stem}-D-{moment()[2:4]}-{number:02}" for number in range(1, 21)]
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
