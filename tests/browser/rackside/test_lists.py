"""The lists of animals on the phone: how many rows the smallest screen has, how long five hundred
take to draw (printed, as machines differ), and that a change moves neither rows nor the focus."""

from typing import Any

import pytest
from playwright.sync_api import Locator, Page, expect
from tests.browser.rackside.conftest import (
    HERE,
    NewPhone,
    Phone,
    Racks,
    fill_in,
    open_sheet,
    said,
    save,
    until,
)

pytestmark = pytest.mark.one_in(6)

NARROW = {"width": 320, "height": 640}
IN_SIGHT = """() => {
  const from = document.querySelector(".head").getBoundingClientRect().bottom;
  const to = document.querySelector(".finding").getBoundingClientRect().top;
  const boxes = [...document.querySelectorAll(".row .animal")];
  return boxes.map((one) => one.getBoundingClientRect())
    .filter(({ top, bottom }) => top >= from && bottom <= to).length; }"""
LOW = """() => [...document.querySelectorAll("a, button, input, summary")]
  .filter((one) => one.checkVisibility() && !one.closest(".row h3, .skip"))
  .filter((one) => one.getBoundingClientRect().height < 48).map((one) => one.outerHTML)"""
PLANT = """async ({ animals, visit, facts, blind }) => {
  const db = await import("/rackside/store/db.js");
  const { changed, state } = await import("/rackside/app/state.js");
  await db.write(["animals", "visits", "facts", "meta", "outbox"], (open) => {
    animals.forEach((one) => open.animals.put(one));
    facts.forEach((one) => open.facts.put(one));
    open.visits.put({
      ...visit, blind, state: "open", opens: "2026-01-01T00:00:00Z", closes: "2100-01-01T00:00:00Z",
      count: animals.length, cautions: [], ahead: [], host: { id: "h", name: "Odile" },
      rows: animals.map(({ id }) => ({ animal: id, own_call: null })),
    });
    open.meta.put([{ id: "room", name: "Room", role: "keeper" }], "own");
  });
  await changed();
}"""
TIMES = """async () => {
  const { changed, onChange, state } = await import("/rackside/app/state.js");
  const drawn = () => document.querySelector(".long").offsetHeight;
  const middle = (taken) => taken.sort((a, b) => a - b)[Math.floor(taken.length / 2)];
  const find = document.querySelector("input[name=find]");
  const typing = [], reading = [], redraw = [];
  for (const text of ["N", "N-", "N-4", "", "Ne", "27", "276", "5", ""]) {
    const begun = performance.now();
    find.value = text;
    find.dispatchEvent(new Event("input"));
    drawn();
    typing.push(performance.now() - begun);
  }
  let read = 0;  // when all that was read is in memory: this is the last of it
  const { unable } = state;
  const set = () => read = performance.now();
  Object.defineProperty(state, "unable", { get: () => unable, set });
  onChange(() => {
    drawn();
    redraw.push(performance.now() - read);
  });
  for (let turn = 0; turn < 9; turn += 1) {
    const begun = performance.now();
    await changed();
    reading.push(read - begun);
  }
  return { typing: middle(typing), reading: middle(reading), redraw: middle(redraw) };
}"""


def animal(number: int, **more: Any) -> dict[str, Any]:
    return {
        "id": f"a{number}", "sight": "all", "pull": 0, "version": 1, "hold_off": False,
        "species": {"key": "python_regius", "common": "ball python"}, "hatched": None,
        "name": f"Nettle {number}", "rack": f"R{1 + number // 40}-{1 + number % 40}",
        "collection": {"id": "room", "name": "Room"},
        "identifiers": [
            {"scheme": "tag", "code": f"N-{number}"},
            {"scheme": "transponder", "code": f"276098{number:09}"},
        ],
        "condition": {
            "grams": "311", "weighed_at": "2026-11-01T00:00:00Z", "fed_at": None, "shed": None,
        },
        "standing": {
            "label": "probable male", "position": number,
            "p_male": "0.9", "p_male_pessimistic": "0.8",
        },
    } | more  # fmt: skip


def planted(page: Page, count: int, *, facts: int = 0, blind: bool = False) -> None:
    """So many animals of one's own, which are on the sheet of an open visit ``v`` as well."""
    entry = {"kind": "husbandry_noted", "body": {"noted": {"type": "weight", "grams": "300"}}}
    given = {
        "animals": [animal(number) for number in range(count)],
        "visit": {"id": "v"},
        "facts": [
            {"id": f"f{number}", "about": f"a{number % count}", "position": number, "entry": entry}
            for number in range(facts)
        ],
        "blind": blind,
    }
    page.evaluate(PLANT, given)


def alone(phone: Phone, name: str = "greta") -> Page:
    """Signed in and without a signal, so that what is planted stays."""
    page = phone.signed_in(name)
    page.get_by_role("link", name="This phone").click()
    phone.context.set_offline(True)
    return page


def test_the_smallest_screen_shows_four_rows_of_a_sheet(racks: Racks, phones: NewPhone) -> None:
    visit = racks.visit(*(f"S-{number}" for number in range(12)))
    page = phones(viewport=NARROW).signed_in()
    open_sheet(page, visit)
    until(page, lambda: page.locator(".row").count() == 12, "the rows")
    # A notice that comes with the next pull may stand above them; it is not the sheet's own.
    page.evaluate("document.querySelector('#notice').style.display = 'none'")
    rows = page.evaluate(IN_SIGHT)
    print(f"rows in sight at 320 × 640: {rows}")  # noqa: T201
    assert rows >= 4
    low = page.evaluate(LOW)
    assert low == []


@pytest.mark.parametrize("where", ["visit/v", "own"])
def test_of_five_hundred_animals_only_those_near_the_screen_are_drawn(
    phones: NewPhone, where: str
) -> None:
    page = alone(phones(viewport=NARROW))
    planted(page, 500, facts=10_000)
    page.goto(f"{HERE}#/{where}")
    expect(page.locator(".row").first).to_be_visible()
    times = page.evaluate(TIMES)
    print(  # noqa: T201
        f"{where}, 500 animals and 10,000 facts: a letter typed {times['typing']:.1f} ms, "
        f"a change redrawn {times['redraw']:.1f} ms, the store read {times['reading']:.1f} ms"
    )
    assert 4 <= page.locator(".row").count() < 40
    page.evaluate("scrollTo(0, 12_000)")
    first = page.locator(".row").first
    until(page, lambda: int(first.get_attribute("aria-posinset") or 0) > 100, "rows further down")
    assert page.locator(".row").count() < 40
    assert page.evaluate("document.querySelector('.long').offsetHeight") > 500 * 76


def top(row: Locator) -> float:
    box = row.bounding_box()
    assert box
    return round(box["y"])


def weigh(racks: Racks, animal: str, grams: str) -> None:
    weight = {"noted": {"type": "weight", "grams": grams}}
    racks.push(racks.odile, said("husbandry_noted", animal, weight))


def test_a_change_moves_neither_the_rows_in_sight_nor_the_focus(
    racks: Racks, phones: NewPhone
) -> None:
    visit = racks.visit(*(f"K-{number:02}" for number in range(40)))
    page = phones(viewport=NARROW).signed_in()
    open_sheet(page, visit)
    row = page.locator(".row").filter(has=page.get_by_role("heading", name="K-20"))
    page.mouse.wheel(0, 1400)
    link = row.get_by_role("link")
    link.focus()
    before = top(row)
    page.evaluate("document.querySelector('.row :focus').mark = 1")
    weigh(racks, visit.animals["K-20"], "321")
    expect(row).to_contain_text("321 g")
    assert page.evaluate("document.activeElement.mark"), "the same element"
    assert top(row) == before
    for gone in ("K-03", "K-19"):  # above it, and just above it
        died = {"why": "died"}
        racks.push(racks.odile, said("animal_ended", visit.animals[gone], died))
        expect(page.get_by_text(f"0 of {39 if gone == 'K-03' else 38} done")).to_be_attached()
        assert top(row) == before, gone
    expect(link).to_be_focused()
    racks.push(racks.odile, said("animal_ended", visit.animals["K-20"], died))
    expect(page.get_by_role("link", name="Log a call on K-21")).to_be_focused()
    found = page.get_by_label("Find by tag")
    found.fill("K-3")
    found.evaluate("(one) => one.setSelectionRange(1, 2)")
    weigh(racks, visit.animals["K-30"], "322")
    expect(page.get_by_text("322 g")).to_be_visible()
    expect(found).to_be_focused()
    assert found.evaluate("(one) => [one.value, one.selectionStart]") == ["K-3", 1]


def test_one_comes_back_to_where_one_was_in_the_list(racks: Racks, phones: NewPhone) -> None:
    """What was logged is no longer to do: the next that is comes into its place."""
    visit = racks.visit(*(f"B-{number:02}" for number in range(30)))
    page = phones(viewport=NARROW).signed_in()
    open_sheet(page, visit)
    page.mouse.wheel(0, 900)
    page.get_by_role("link", name="Log a call on B-17").click()
    expect(page.get_by_role("heading", name="B-17")).to_be_focused()
    page.go_back()
    expect(page.get_by_role("link", name="Log a call on B-17")).to_be_focused()
    expect(page.get_by_role("link", name="Log a call on B-17")).to_be_in_viewport()
    fill_in(page, "B-17")
    save(page, "B-17")
    expect(page.get_by_role("link", name="Log a call on B-18")).to_be_focused()
    expect(page.get_by_role("radio", name="Done 1")).to_be_attached()
    next_of = """async ([visit, animals]) => {
      const { nextToDo } = await import("/rackside/app/state.js");
      return animals.map((one) => nextToDo(visit, one)?.identifiers[0].code); }"""
    asked = [visit.animals[tag] for tag in ("B-16", "B-29", "B-17")]
    assert page.evaluate(next_of, [visit.id, asked]) == ["B-18", "B-00", "B-18"]


def test_who_is_to_check_an_animal_of_theirs_blind_sees_nothing_of_it_anywhere(
    phone: Phone,
) -> None:
    """The visit opened without a signal: what the phone had before is not shown or found."""
    page = alone(phone)
    planted(page, 3)
    page.goto(f"{HERE}#/own")
    expect(page.get_by_text("probable male")).to_have_count(3)
    planted(page, 3, blind=True)
    expect(page.get_by_role("heading", name="N-1")).to_be_visible()
    body = page.locator("body")
    for told in ("Nettle", "male", "R1", "position"):
        expect(body).not_to_contain_text(told)
    page.get_by_label("Find by tag").fill("Nettle")
    expect(page.get_by_text("0 of 3 found")).to_be_visible()
    for where in ("own/a1", "log/v/a1", "visit/v"):
        page.goto(f"{HERE}#/{where}")
        expect(page.get_by_role("heading", name="N-1")).to_be_visible()
        assert "Nettle" not in body.inner_text(), where
        assert "probable" not in body.inner_text(), where


def test_a_view_that_is_open_shows_nothing_more_once_its_animal_is_to_be_checked_blind(
    phone: Phone,
) -> None:
    page = alone(phone)
    for where, told in (("own/a1/weight", "Grams"), ("own/a1/move", "R1"), ("rack/R1", "Nettle 1")):
        planted(page, 3)
        page.goto(f"{HERE}#/{where}")
        body = page.locator("#main")
        expect(body).to_contain_text(told)
        planted(page, 3, blind=True)
        expect(page.get_by_role("heading", name="Not here")).to_be_visible()
        expect(body).not_to_contain_text(told)
