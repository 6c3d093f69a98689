"""One set of colours for pages, phone, letters and papers. What cannot read `tokens.css` states
values, and these are its own."""

import re
from pathlib import Path

import pytest
from django.conf import settings

from stack.local import ROOT

SERVER = ROOT / "server" / "scalewitness"
STATIC = SERVER / "pages" / "static"
PHONE = Path(settings.RACKSIDE_ROOT)
COLOUR = re.compile(r"#[0-9a-fA-F]{3,8}\b")


def tokens(block: int) -> dict[str, str]:
    """Names with their values: of the light scheme (0) or the dark one (1)."""
    text = (STATIC / "shared" / "tokens.css").read_text(encoding="utf-8")
    found = re.findall(r":root \{(.*?)\}", text, re.DOTALL)[block]
    return dict(re.findall(r"--([\w-]+): ([^;]+);", found))


LIGHT, DARK = tokens(0), tokens(1)


def colours(path: Path) -> set[str]:
    return set(COLOUR.findall(path.read_text(encoding="utf-8")))


STYLES = [STATIC / "pages.css", PHONE / "rackside.css", *sorted((PHONE / "styles").glob("*.css"))]


@pytest.mark.parametrize("path", STYLES, ids=str)
def test_no_other_stylesheet_has_a_colour_of_its_own(path: Path) -> None:
    assert colours(path) == set()
    used = set(re.findall(r"var\(--([\w-]+)\)", path.read_text(encoding="utf-8")))
    measured = {"foot"}  # by the phone: how high what stands at its bottom is
    assert used <= set(LIGHT) | measured


def test_every_colour_that_the_dark_scheme_changes_is_one_of_the_light_ones() -> None:
    fixed = {"fixed-act", "fixed-line", "mark"}
    assert set(DARK) == {name for name, value in LIGHT.items() if value[0] == "#"} - fixed


def test_letters_state_the_colours_that_do_without_a_scheme() -> None:
    letters = SERVER.glob("*/templates/letters/*.html")
    stated = set().union(*(colours(one) for one in letters))
    assert stated == {LIGHT[one] for one in ("fixed-act", "fixed-line", "on-act")}


def pixels(token: str) -> str:
    return str(round(float(LIGHT[token].removesuffix("rem")) * 16))


def test_letters_keep_to_the_scales_of_type_and_space() -> None:
    """What is one pixel to three is a line, and six the corner of a button."""
    text = "".join(one.read_text() for one in SERVER.glob("*/templates/letters/**/*.html"))
    styles = re.findall(r'style="(.*?)"', text, re.DOTALL)
    sizes = {one for style in styles for one in re.findall(r"(\d+)px/", style)}
    assert sizes <= {pixels(f"t{n}") for n in range(1, 7)}, sizes
    faces = {one for style in styles for one in re.findall(r"px/[\d.]+ ([^;]+)", style)}
    assert faces == {
        LIGHT["serif"].replace('"', "'").replace(", ", ","),
        LIGHT["sans"].replace('"', "'").replace(", ", ","),
        "ui-monospace,monospace",
    }
    spaces = {
        one
        for style in styles
        for rule in re.findall(r"(?:margin|padding)[^:]*:([^;]+)", style)
        for one in re.findall(r"(\d+)px", rule)
    }
    assert spaces <= {pixels(f"s{n}") for n in range(1, 8)}, spaces


def test_papers_are_set_in_the_colours_of_the_pages() -> None:
    frame = (SERVER / "pages" / "papers" / "frame.typ").read_text(encoding="utf-8")
    assert dict(re.findall(r'#let (\w+) = rgb\("(.*?)"\)', frame)) == {
        "ink": LIGHT["ink"],
        "accent": LIGHT["fixed-act"],
        "quiet": LIGHT["soft"],
    }
    papers = SERVER / "pages" / "papers"
    assert colours(papers / "drawing.py") == {LIGHT["ink"]}
    assert all("rgb(" not in one.read_text() for one in papers.glob("*.typ") if one.stem != "frame")


def test_the_phones_frame_has_the_colours_of_its_pages() -> None:
    assert colours(PHONE / "index.html") == {LIGHT["paper"], DARK["paper"]}
    assert colours(PHONE / "manifest.webmanifest") == {LIGHT["paper"], LIGHT["act"]}
    for icon in (PHONE / "icons" / "icon.svg", STATIC / "mark.svg"):
        assert colours(icon) == {LIGHT["act"], LIGHT["mark"]}
