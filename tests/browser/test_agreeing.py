"""What a browser that signs holds to the form: every fact as the pages really state it, and each of
them altered in every single place."""

import json
from collections.abc import Iterator
from copy import deepcopy
from dataclasses import dataclass
from typing import Any

import pytest
from playwright.sync_api import Browser, Page
from tests.browser.conftest import Site, opening
from tests.pages.signing import SigningBrowser
from tests.pages.test_methods import COMMON, OF_PARENTS, TYPED

from scalewitness.domain import choices

pytestmark = pytest.mark.one_in(2)

Fact = dict[str, Any]
WORDS = [
    [one.word for one in of]
    for of in (
        choices.CONCLUSIONS, choices.SURENESSES, choices.STOPS, choices.IDENTIFIED,
        choices.HOLDERS, choices.HARMS, choices.TOLD, choices.SHEDS,
    )
]  # fmt: skip
"""Of each question what may be answered: what somebody would put in another's place."""
OTHER = "01a22b93-7885-7734-b210-b69e1b6bc8ea"
ASKED = {
    "parentage": ["conclusion", "sureness", "reported who"],
}
"""Of which form what is asked although nobody meddled: it follows from what was typed."""


@dataclass(frozen=True)
class Case:
    """A form as it was sent, and the facts that the record would state for it."""

    name: str
    form: dict[str, Any]
    facts: list[Fact]


@pytest.fixture(scope="module")
def story(site: Site) -> list[Case]:
    world = site.world
    animal, mate = world.animal("R-01"), world.animal("R-02", hatched="2020-05-01")
    path, browser = f"/animals/{animal.pk}", SigningBrowser(world.odile).enrol()
    typed: dict[str, tuple[str, dict[str, str]]] = {
        "identifier": (f"{path}/identifiers/new", {"scheme": "transponder", "code": CHIP}),
        "end": (f"{path}/end", {"why": "died", "note": "Overnight."}),
        "meal": (f"{path}/husbandry/meal", {"taken": "yes", "grams": "12.5"}),
        "shed": (f"{path}/husbandry/shed", {"stage": "opaque"}),
        "particulars": (
            f"{path}/particulars",
            {"species": "python_regius", "hatched": "2021-06-01", "traits": "Amel, Pied"},
        ),
        "pairing": (
            f"{path}/pairings/new",
            {"role": "sire", "mate": str(mate.pk), "season": "2027"},
        ),
        "register": (
            f"/collections/{world.collection.pk}/animals/new",
            {"species": "python_regius", "scheme": "tag", "identifier": "N-1", "traits": "Amel"},
        ),
        "dispute": (f"{path}/disputes/new", {"note": "I doubt it."}),
    }
    for method, (own, _) in TYPED.items():
        common = OF_PARENTS if method == "parentage" else COMMON
        typed[method] = (f"{path}/calls/new/{method}", {**common, **own, "note": "calm"})
    return [_case(browser, name, *one) for name, one in typed.items()]


CHIP = "276098100000001"


def _case(browser: SigningBrowser, name: str, path: str, typed: dict[str, str]) -> Case:
    form = browser.open(path).form()
    sent = [(name, one) for name, all_of in form.values.items() for one in all_of]
    sent = [pair for pair in sent if pair[0] not in typed] + list(typed.items())
    shown = {
        "sent": sent,
        "typed": [pair for pair in sent if form.names[pair[0]] != "hidden"],
        "says": form.says.split(),
        "address": path,
        "keeper": browser.key.keeper,
        "shown": [],
    }
    return Case(name, shown, browser.to_sign(form, **typed))


@pytest.fixture(scope="module")
def page(story: list[Case], chromium: Browser, site: Site) -> Iterator[Page]:
    with opening(chromium, site) as open_page:
        yield open_page("/about")


def judged(page: Page, cases: list[Case]) -> list[Any]:
    script = """async (cases) => {
      const { agreement } = await import("/static/signing/agreeing.js");
      return cases.map(([form, facts]) => agreement(facts, form));
    }"""
    return list(page.evaluate(script, [[one.form, one.facts] for one in cases]))


def test_what_was_typed_is_signed_unasked(page: Page, story: list[Case]) -> None:
    for case, found in zip(story, judged(page, story), strict=True):
        assert found["wrong"] == [], case.name
        asked = [one["what"] for one in found["asked"]]
        assert asked == ASKED.get(case.name, []), case.name


def test_nothing_altered_is_signed_unseen(page: Page, story: list[Case]) -> None:
    altered = [(what, one) for case in story for what, one in _alterations(case)]
    assert len(altered) > 400
    before = dict(zip([one.name for one in story], judged(page, story), strict=True))
    unseen = [
        what
        for (what, case), found in zip(altered, judged(page, [c for _, c in altered]), strict=True)
        if found == before[case.name]
    ]
    assert not unseen, "\n".join(unseen)


def _alterations(case: Case) -> Iterator[tuple[str, Case]]:
    for nth, fact in enumerate(case.facts):
        for path, value in _leaves(fact):
            for other in _others(path, value):
                yield _altered(case, nth, path, other)
        for name in fact["texts"]:
            yield _altered(case, nth, ("texts", name), None)
        yield _altered(case, nth, ("body", "harm"), ["bleeding"])
        yield _altered(case, nth, ("body", "visit"), OTHER)
    if len(case.facts[0]["body"].get("observed", {}).get("passes", [])) > 1:
        swapped = deepcopy(case.facts)
        first, second = swapped[0]["body"]["observed"]["passes"][:2]
        first["depth"], second["depth"] = second["depth"], first["depth"]
        yield f"{case.name}: depths swapped", Case(case.name, case.form, swapped)


def _altered(case: Case, nth: int, path: tuple[Any, ...], other: Any) -> tuple[str, Case]:
    facts = deepcopy(case.facts)
    at: Any = facts[nth]
    for step in path[:-1]:
        at = at[step]
    if other is None:
        del at[path[-1]]
    else:
        at[path[-1]] = other
    return f"{case.name}: {path} = {json.dumps(other)}", Case(case.name, case.form, facts)


def _leaves(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[tuple[Any, ...], Any]]:
    if isinstance(value, dict | list):
        steps = value.items() if isinstance(value, dict) else enumerate(value)
        for step, one in steps:
            yield from _leaves(one, (*path, step))
    else:
        yield path, value


def _others(path: tuple[Any, ...], value: Any) -> list[Any]:
    if isinstance(value, bool):
        return [not value]
    if isinstance(value, int):
        return [value + 1]
    if path == ("at",):
        return ["2020-01-01T00:00:00.000Z"]
    if str(value).count("-") == 4:
        return [OTHER]
    words = next((of for of in WORDS if value in of), [])
    return [one for one in words if one != value] + ["7", "something else"]


def test_every_call_form_is_among_them(story: list[Case]) -> None:
    assert {one.name for one in story} >= set(TYPED)
    assert all(one.form["says"] for one in story)
