"""What a thumb does on a hatch day, and what the log holds of it."""

from dataclasses import dataclass

from playwright.sync_api import Locator, Page, expect
from tests.browser.rackside.conftest import (
    HERE,
    Phone,
    Racks,
    fresh_id,
    moment,
    said,
    stored,
    until,
)

from scalewitness.domain.translog.leaf import Leaf

SEEN = ["Hemipenes", "Nothing", "Unclear"]


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

    def at(self, code: str) -> None:
        expect(self.page.get_by_role("heading", level=1)).to_contain_text(code)

    def choose(self, legend: str, label: str) -> None:
        group = self.page.get_by_role("group", name=legend, exact=True)
        self.tap(group.get_by_label(label, exact=True))


@dataclass
class Clutch:
    """Odile's pairing, and where its young go."""

    room: str
    pairing: str
    dam: str
    sire: str
    stem: str


def clutch(racks: Racks, stem: str, species: str = "python_regius") -> Clutch:
    room, sire, dam = fresh_id(), fresh_id(), fresh_id()
    racks.odile.post("collections", json={"id": room, "name": "Young"}).raise_for_status()
    made = Clutch(room, fresh_id(), dam, sire, stem)
    registered = {"collection": room, "species": species}
    items = []
    for animal, tag in ((sire, f"{stem}-S"), (dam, f"{stem}-D")):
        items.append(said("animal_registered", animal, registered))
        items.append(said("identifier_assigned", animal, {"scheme": "tag", "code": tag}))
    body = {"sire": sire, "dam": dam, "season": int(moment()[:4])}
    racks.push(racks.odile, *items, said("pairing_planned", made.pairing, body))
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
    thumb.at("-01")


def weigh(thumb: Thumb, weights: list[str]) -> None:
    for number, weight in enumerate(weights, start=1):
        thumb.at(f"-{number:02}")
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
        thumb.at(f"-{at + 1:02}")
        thumb.press(SEEN[at % 3])
