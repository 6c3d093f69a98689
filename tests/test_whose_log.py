"""Where a page or a letter says a position, its log is named: in every template there is, also one
that is added later."""

import re
from pathlib import Path

import pytest
from django.template import engines

from scalewitness.ledger.services.memory import present_origin

SERVER = Path(__file__).parent.parent / "server" / "scalewitness"
PAGES = SERVER / "pages" / "templates"
LETTERS = SERVER / "letters" / "templates" / "letters"
PRINTED = re.compile(r"\{\{[^}]*\bposition\b")
NAMED = re.compile(r"log_origin|_positions\.txt|_receipt\.(?:txt|html)")


def printing(folder: Path) -> list[Path]:
    return [
        path
        for path in sorted(folder.rglob("*"))
        if path.suffix in {".html", ".txt"} and PRINTED.search(path.read_text())
    ]


def test_every_page_that_prints_a_position_stands_in_the_frame_that_names_the_log() -> None:
    """Parts of pages are in pages; a page of its own that is not in the frame would be found."""
    found = printing(PAGES)
    assert len(found) > 30
    text = "".join(path.read_text() for path in PAGES.rglob("*.html"))
    for path in found:
        name = str(path.relative_to(PAGES))
        assert framed(path) or f'"{name}"' in text, name


def framed(path: Path) -> bool:
    return path == PAGES / "base.html" or path.read_text().startswith("{% extends ")


@pytest.mark.parametrize("said", ["log position 7", "Position", "entry 12 of the log"])
def test_the_frame_names_it_once(said: str) -> None:
    page = shown(f"<p>{said}</p><p>{said}</p>")
    assert page.count("Positions are of the log") == 1
    assert f"<code>{present_origin()}</code>" in page


def test_the_frame_says_nothing_where_there_is_no_position() -> None:
    assert "Positions are" not in shown("<p>The composition of a clutch; an entry.</p>")


def shown(inside: str) -> str:
    source = '{% extends "base.html" %}{% block content %}' + inside + "{% endblock %}"
    return str(engines["django"].from_string(source).render({"user": None}))


def test_every_letter_that_prints_a_position_names_the_log() -> None:
    found = printing(LETTERS)
    assert {one.name for one in found} >= {"_positions.txt", "_receipt.html", "_receipt.txt"}
    for path in found:
        assert NAMED.search(path.read_text()), path


def test_every_paper_names_the_log() -> None:
    """In its head, from the frame that all of them have."""
    papers = SERVER / "pages" / "papers"
    assert "#data.origin" in (papers / "frame.typ").read_text()
    for path in papers.glob("*.typ"):
        if path.name != "frame.typ":
            assert "frame.typ" in path.read_text(), path
