"""What the phone keeps of what was stated about animals: of one's own alone, and of none that its
keeper is to check blind."""

from typing import Any

import pytest

Page = dict[str, Any]

HERE = """(async () => {
  const s = await import("/rackside/store/replica.js");
  const d = await import("/rackside/store/db.js");
  await d.forget();
  const session = { keeper: "k", device: "d" };
  await d.write(["meta"], ({ meta }) => meta.put(session, "session"));
  const seen = [];
  for (const one of given) {
    const { cursor } = await s.feed();
    if (one === "anew") { await s.beginAgain(session, cursor); continue; }
    const made = { more: false, cursor: String(Number(cursor) + 1), ...one };
    await s.take(session, cursor, made);
    seen.push((await d.all("facts")).map(({ id }) => id).sort());
  }
  return seen;
})()"""


def kept(modules: Any, *pages: list[Page] | str) -> list[list[str]]:
    """The ids of all facts that are kept after each page of the feed."""
    given = [one if one == "anew" else {"items": one} for one in pages]
    return list(modules("store/facts", HERE, given))


def collection(role: str = "keeper", id: str = "home") -> Page:
    return {"type": "collection", "collection": {"id": id, "role": role}}


def animal(id: str, sight: str = "all", home: str | None = "home") -> Page:
    shown = {"collection": {"id": home}} if sight == "all" else {}
    return {"id": id, "sight": sight, **shown}


def fact(id: str, about: str, kind: str = "husbandry_noted", **more: Any) -> Page:
    entry = {"id": id, "about": about, "kind": kind, "by": "other"}
    return {"type": "fact", "position": 1, "by_name": "Other", "entry": entry, **more}


def snapshot(of: Page, *facts: Page) -> Page:
    return {"type": "snapshot", "animal": of, "facts": list(facts)}


def now(of: Page) -> Page:
    return {"type": "animal", "animal": of}


OWN = [collection(), snapshot(animal("a"), fact("1", "a")), fact("2", "a", animal=animal("a"))]


def test_facts_of_ones_own_animals_are_kept_as_they_come(modules: Any) -> None:
    later = [fact("3", "a", "call_made"), fact("4", "a", animal=animal("a"))]
    assert kept(modules, OWN, later) == [["1", "2"], ["1", "2", "3", "4"]]
    assert kept(modules, OWN, later, later)[-1] == ["1", "2", "3", "4"]  # a page may come again


@pytest.mark.parametrize("role", ["viewer", None])
def test_of_animals_that_one_only_looks_at_nothing_is_kept(modules: Any, role: str | None) -> None:
    first = [collection(role)] if role else []
    assert kept(modules, [*first, *OWN[1:]], [fact("3", "a", animal=animal("a"))]) == [[], []]


def test_a_partners_are_kept_until_they_are_no_partner_any_more(modules: Any) -> None:
    partner = [collection("partner"), *OWN[1:]]
    for end in (collection("viewer"), {"type": "purge", "collection": "home"}):
        assert kept(modules, partner, [end]) == [["1", "2"], []]
    other = [collection(id="mine"), snapshot(animal("b", home="mine"), fact("9", "b"))]
    assert kept(modules, [*partner, *other], [collection("viewer")])[-1] == ["9"]


@pytest.mark.parametrize(
    "turn",
    [
        [snapshot(animal("a", "blind"), fact("5", "a", "call_made"))],
        [now(animal("a", "blind"))],
        [fact("5", "a"), snapshot(animal("a", "blind"))],
        [snapshot(animal("a", "blind")), fact("5", "a")],
        [now(animal("a", "blind")), fact("5", "a", "call_made")],
        [{"type": "purge", "animal": "a"}],
        [fact("5", "a"), {"type": "purge", "animal": "a"}],
    ],
)
def test_of_an_animal_that_becomes_blind_or_goes_nothing_stays(
    modules: Any, turn: list[Page]
) -> None:
    other = snapshot(animal("b"), fact("8", "b"))
    assert kept(modules, [*OWN, other], turn) == [["1", "2", "8"], ["8"]]
    seen_again = [snapshot(animal("a"), fact("5", "a"), fact("6", "a"))]
    assert kept(modules, OWN, turn, seen_again)[-1] == ["5", "6"]


def test_a_fact_of_an_animal_that_is_blind_already_is_not_kept(modules: Any) -> None:
    blind = [collection(), snapshot(animal("a", "blind"))]
    assert kept(modules, blind, [fact("5", "a", "call_made")]) == [[], []]


def test_a_snapshot_is_in_place_of_all_that_was_kept(modules: Any) -> None:
    """So what named a parent that is to be checked blind by now goes, where the young come anew."""
    told = [snapshot(animal("a"), fact("2", "a"), fact("7", "a"))]
    assert kept(modules, OWN, told) == [["1", "2"], ["2", "7"]]


def test_an_animal_that_went_to_others_leaves_no_fact(modules: Any) -> None:
    assert kept(modules, OWN, [now(animal("a", home="elsewhere"))]) == [["1", "2"], []]


def test_what_does_not_come_again_when_the_feed_begins_anew_is_forgotten(modules: Any) -> None:
    both = [*OWN, collection(id="old"), snapshot(animal("b", home="old"), fact("8", "b"))]
    again = [collection(), snapshot(animal("a"), fact("2", "a"), fact("3", "a"))]
    assert kept(modules, both, "anew", again) == [["1", "2", "8"], ["2", "3"]]
    viewer = [collection(), snapshot(animal("b", home="old"), fact("8", "b"))]
    assert kept(modules, both, "anew", viewer)[-1] == []


def test_what_the_page_does_not_tell_of_is_not_kept(modules: Any) -> None:
    told = [fact("3", "a", "standing_changed"), fact("4", "pairing", "call_made")]
    assert kept(modules, OWN, told)[-1] == ["1", "2"]


MANY = """(async () => {
  const s = await import("/rackside/store/replica.js");
  const d = await import("/rackside/store/db.js");
  await d.forget();
  const session = { keeper: "k", device: "d" };
  await d.write(["meta"], ({ meta }) => meta.put(session, "session"));
  const home = { type: "collection", collection: { id: "home", role: "keeper" } };
  const note = (animal, n) => ({ position: n, by_name: "Other", texts: {}, entry: {
    id: `${animal}-${n}`, kind: "husbandry_noted", about: animal, by: "other", device: "d",
    at: "2026-01-01T00:00:00.000Z", body: { noted: { type: "weight", grams: String(400 + n) } },
    sig: "x".repeat(88), v: 2, received: "2026-01-01T00:00:00.000Z", flags: [] } });
  const snapshot = (n) => ({ type: "snapshot",
    animal: { id: `a${n}`, sight: "all", collection: { id: "home" }, rack: `R${n % 25}-${n}` },
    facts: Array.from({ length: given.facts }, (_, at) => note(`a${n}`, at)) });
  const told = {};
  const timed = async (name, work) => {
    const from = performance.now();
    const found = await work();
    told[name] = performance.now() - from;
    return found;
  };
  await timed("taking all in", async () => {
    for (let at = 0; at < given.animals; at += 250) {
      const items = Array.from({ length: 250 }, (_, n) => snapshot(at + n));
      const { cursor } = await s.feed();
      const page = { items: [home, ...items], cursor: String(at + 1), more: true };
      await s.take(session, cursor, page);
    }
  });
  told.kept = (await d.all("facts")).length;
  told.one = (await timed("the facts of one", () => m.factsOf("a123"))).length;
  const rack = Array.from({ length: 20 }, (_, n) => `a${n * 25}`);
  await timed("the facts of a rack", () => Promise.all(rack.map(m.factsOf)));
  const blind = { type: "animal", animal: { id: "a123", sight: "blind" } };
  const { cursor } = await s.feed();
  await timed("one gone blind", () =>
    s.take(session, cursor, { items: [blind], cursor: "end", more: false }));
  told.left = (await d.all("facts")).length;
  await d.forget();
  return told;
})()"""


def test_five_hundred_animals_of_twenty_facts(
    modules: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    """How long each takes is printed: machines differ."""
    told = modules("store/facts", MANY, {"animals": 500, "facts": 20})
    assert (told.pop("kept"), told.pop("one"), told.pop("left")) == (10_000, 20, 9_980)
    figures = ", ".join(f"{name} {ms:.0f} ms" for name, ms in told.items())
    with capsys.disabled():
        print(f"\n500 animals of 20 facts: {figures}")  # noqa: T201  whoever runs it wants them
