"""Drawings say in numbers, places and words what the record holds."""

from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace
from tests.pages.browser import Browser
from tests.pages.conftest import Here

from scalewitness.calls.models import Call
from scalewitness.domain.observations import Pass
from scalewitness.domain.sexing.taxa import species_list, taxon
from scalewitness.pages.plots.axis import letter
from scalewitness.pages.plots.course import Turn, course
from scalewitness.pages.plots.depths import Probed, depths
from scalewitness.pages.plots.interval import ERROR, Estimated, intervals
from scalewitness.pages.plots.of_case import turns_of
from scalewitness.standings.models import Standing

ROYAL = taxon("python_regius")
HOSTILE = "<script>alert('x')</script>\"&"


def drawn(markup: str) -> ElementTree.Element:
    """The drawing as XML: it must be well formed."""
    return ElementTree.fromstring(f"<div>{markup}</div>")  # noqa: S314  our own markup


def marks(tree: ElementTree.Element, side: str) -> list[float]:
    """Middles of the marks on one side, in the order drawn."""
    tag, place, half = ("circle", "cx", 0) if side == "left" else ("rect", "x", 4)
    found = (one for one in tree.iter(tag) if one.get("class") == f"pass {side}")
    return [float(one.attrib[place]) + half for one in found]


def described(tree: ElementTree.Element) -> str:
    return " ".join(one.text or "" for one in tree.iter("desc"))


def one_side(*scales: str, side: Any = "left", stopped: Any = "resistance") -> Probed:
    return Probed("a", tuple(Pass(side, depth, stopped) for depth in scales))


def band(tree: ElementTree.Element, sex: str) -> tuple[float, float]:
    found = next(one for one in tree.iter("rect") if one.get("class") == f"band {sex}")
    start = float(found.attrib["x"])
    return start, start + float(found.attrib["width"])


def no_style(markup: str) -> bool:
    return all("style" not in one.attrib for one in drawn(markup).iter())


# --- depths -------------------------------------------------------------------------------


def test_nine_scales_lie_inside_the_male_band_of_a_ball_python() -> None:
    """Males 8 to 10 scales, females 2 to 4: Barker & Barker 2006."""
    tree = drawn(depths([one_side("9", "3")], ROYAL, "p1"))
    deep, shallow = marks(tree, "left")
    low, high = band(tree, "male")
    assert low < deep < high
    low, high = band(tree, "female")
    assert low < shallow < high < band(tree, "male")[0]


@given(
    st.lists(st.integers(0, 60), min_size=2, max_size=12, unique=True),
    st.sampled_from(["left", "right"]),
)
def test_deeper_passes_lie_further_right_on_the_drawing(halves: list[int], side: str) -> None:
    scales = [f"{half / 2:g}" for half in sorted(halves)]
    found = marks(drawn(depths([one_side(*scales, side=side)], ROYAL, "p1")), side)
    assert found == sorted(set(found))
    assert len(found) == len(scales)
    assert 0 < found[0] < found[-1] < 320


def test_every_pass_is_in_the_description_and_aborted_ones_are_not_drawn() -> None:
    runs = (
        Pass("left", "9", "resistance"),
        Pass("right", "7.5", "choice"),
        Pass("left", "1", "aborted"),
    )
    markup = depths([Probed("a", runs), Probed("b", runs[:1], "withdrawn")], ROYAL, "p1")
    tree = drawn(markup)
    words = described(tree)
    assert "Call a: left side 9 scales" in words
    assert "right side 7.5 scales or deeper, stopped by choice" in words
    assert "left side broken off, not drawn" in words
    assert "Call b (withdrawn): left side 9 scales" in words
    assert len(marks(tree, "left")) == 2
    assert "call a, left side" in "".join(drawn(markup).itertext())


def test_a_pass_stopped_by_choice_is_hollow_with_an_arrow_and_others_are_not() -> None:
    runs = (Pass("left", "9", "resistance"), Pass("left", "7", "choice"))
    tree = drawn(depths([Probed("a", runs)], ROYAL, "p1"))
    solid, hollow = (one for one in tree.iter("circle") if one.get("class") == "pass left")
    assert solid.get("fill") is None
    assert hollow.get("fill") == "none"
    assert len([one for one in tree.iter("path") if one.get("class") == "arrow"]) == 1


def test_nothing_is_drawn_without_passes() -> None:
    assert depths([Probed("a", ())], ROYAL, "p1") == ""
    assert depths([], ROYAL, "p1") == ""


@pytest.mark.parametrize("kind", species_list(), ids=lambda kind: kind.key)
def test_every_species_is_drawn_with_the_ranges_it_has(kind: Any) -> None:
    tree = drawn(depths([one_side("30")], kind, "p1"))
    words = "".join(one.text or "" for one in tree.iter("text"))
    for sex, known in (("female", kind.female_range), ("male", kind.male_range)):
        if known is None:
            assert f"{sex}s usually not known" in words
        else:
            start, end = band(tree, sex)
            assert 0 <= start <= end <= 320


def test_a_broken_off_probing_alone_is_told_in_words() -> None:
    tree = drawn(depths([one_side("2", stopped="aborted")], ROYAL, "p1"))
    assert marks(tree, "left") == []
    assert "left side broken off" in described(tree)


# --- course -------------------------------------------------------------------------------

TURNS = [
    Turn("a", "Call a", 0.97, "probable male"),
    Turn("b", "Call b", 0.97, "probable male"),
    Turn("c", "Call c", 0.999999, "verified male"),
    Turn("−c", "Call c stopped counting", 0.2, "unsexed"),
]


def test_the_course_moves_towards_the_sex_each_turn_speaks_for() -> None:
    tree = drawn(course(TURNS, probable=0.9, verified=0.99))
    xs = [float(one.attrib["cx"]) for one in tree.iter("circle") if one.get("class") == "turn"]
    even = next(float(o.attrib["x"]) for o in tree.iter("text") if o.text == "even")
    assert xs[3] < even < xs[0] == xs[1] < xs[2]
    lines = [float(one.attrib["x1"]) for one in tree.iter("line") if one.get("class") == "needed"]
    probable_female, probable_male, verified_female, verified_male = lines
    assert verified_female < probable_female < xs[3]
    assert probable_male < xs[0] < verified_male < xs[2]


def test_the_course_is_told_in_words_and_never_rounded_up() -> None:
    words = described(drawn(course(TURNS, probable=0.9, verified=0.99)))
    assert "Call a: towards male, to 97.0% male, now probable male." in words
    assert "Call b: no change, 97.0% male." in words
    assert "Call c: towards male, to 99.9% male, now verified male." in words
    assert "Call c stopped counting: towards female, to 80.0% female, now unsexed." in words


def test_each_standing_stands_beside_its_cause() -> None:
    calls = [Call(position=3), Call(position=6), Call(position=7)]
    standings = [
        Standing(position=4, p_male="0.9", label="probable male"),
        Standing(position=8, p_male="0.99", label="probable male"),
        Standing(position=12, p_male="0.98", label="probable male"),
    ]
    assert [(turn.mark, turn.p_male) for turn in turns_of(calls, standings)] == [
        ("a", 0.9),
        ("b", 0.9),
        ("c", 0.99),
        ("∗", 0.98),
    ]


def test_no_turns_no_course() -> None:
    assert course([], probable=0.9, verified=0.99) == ""


# --- interval -----------------------------------------------------------------------------


def test_an_interval_is_drawn_to_scale_with_the_animals_behind_it() -> None:
    """Two wrong in 40 under Beta(2, 38) is Beta(4, 76): mean 4/80 = 5%."""
    found = Estimated("Probing, males", 40, 0.05, 0.014, 0.108, "wrong about 5.0%")
    tree = drawn(intervals("How often wrong", [found], ERROR))
    (mean,) = tree.iter("circle")
    assert float(mean.attrib["cx"]) == pytest.approx(8 + 300 * 0.05 / 0.5)
    (line,) = (one for one in tree.iter("line") if one.get("class") == "interval")
    low, high = (float(line.attrib[end]) for end in ("x1", "x2"))
    assert (low, high) == (pytest.approx(8 + 600 * 0.014), pytest.approx(8 + 600 * 0.108))
    assert "Probing, males: wrong about 5.0%, 40 animals" in described(tree)


def test_an_interval_beyond_one_half_ends_in_an_arrow() -> None:
    tree = drawn(intervals("How often wrong", [Estimated("Probing", 12, 0.6, 0.2, 0.9)], ERROR))
    assert [one.get("class") for one in tree.iter("path")] == ["arrow"]
    assert list(tree.iter("circle")) == []


def test_of_fewer_than_ten_animals_nothing_is_drawn_and_that_is_said() -> None:
    found = [Estimated("Probing, males", n, 0.05, 0.0, 0.4, "5%") for n in (1, 9, 10)]
    tree = drawn(intervals("How often wrong", found, ERROR))
    assert len(list(tree.iter("circle"))) == 1
    assert "".join(tree.itertext()).count("too few to tell") == 2 * 2, "drawn, and described"
    assert "Probing, males: too few to tell, 1 animal." in " ".join(described(tree).split())
    assert not intervals("How often wrong", [], ERROR)


# --- all of them --------------------------------------------------------------------------


def test_hostile_words_are_escaped_and_nothing_carries_a_style() -> None:
    hostile = replace(ROYAL, common=HOSTILE)
    drawings = [
        depths([Probed(HOSTILE, (Pass("left", "9", "aborted"),), HOSTILE)], hostile, "p1"),
        depths([Probed(HOSTILE, (Pass("right", "9", "choice"),), HOSTILE)], hostile, "p1"),
        course([Turn(HOSTILE, HOSTILE, 0.7, HOSTILE)], probable=0.9, verified=0.99),
        intervals(HOSTILE, [Estimated(HOSTILE, 12, 0.1, 0.05, 0.2, HOSTILE)], ERROR),
    ]
    for markup in drawings:
        assert "<script" not in markup
        assert HOSTILE in "".join(drawn(markup).itertext())
        assert no_style(markup)
        svg = next(drawn(markup).iter("svg"))
        assert svg.get("role") == "img"
        assert svg.get("width") is None
        assert svg.get("viewBox", "").startswith("0 0 320 ")
        assert [one.tag for one in svg][:2] == ["title", "desc"]


def test_letters_go_on_after_z() -> None:
    assert [letter(n) for n in (0, 25, 26, 51, 52, 702)] == ["a", "z", "aa", "az", "ba", "aaa"]


# --- on the pages -------------------------------------------------------------------------


def test_the_animal_page_draws_what_was_logged(here: Here, odile: Browser) -> None:
    animal = here.animal("T-1")
    here.call(here.odile, animal, "male")
    here.pass_time(days=1)
    second = here.call(here.greta, animal, "female", visit=here.visit(here.greta, animal))
    here.pass_time(days=1)
    here.say(here.greta, "call_withdrawn", animal.pk, {"call": second.id})
    html = odile.open(f"/animals/{animal.pk}").html
    assert "Call a: left side 9 scales; right side 9 scales." in html
    assert "Call b (withdrawn): left side 3 scales; right side 2.5 scales." in html
    assert "Call b stopped counting" in html
    assert html.count("<figure") == 3, "the depths, the course, and the strip of time"
    assert 'style="' not in html


def test_a_blind_guest_is_shown_no_drawing(here: Here, greta: Browser) -> None:
    animal = here.animal("T-1")
    here.call(here.odile, animal, "male")
    here.now_is_now()
    here.visit(here.greta, animal)
    assert "<figure" not in greta.open(f"/animals/{animal.pk}").html


def test_a_buyer_sees_the_depths_and_no_name(here: Here, anyone: Browser) -> None:
    animal = here.verified("T-1")
    here.now_is_now()
    sale = here.draft(animal)
    here.offer(sale)
    html = anyone.open(f"/offers/{here.token(sale)}").html
    assert "Call a: left side 9 scales" in html
    assert html.count("<figure") == 1
    assert "Guest T-1" not in html
