"""What may stand in a name or a note."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scalewitness.domain.lines import one_line, some_lines


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("Odile", "Odile"),
        ("  Odile Marten\t", "Odile Marten"),
        ("Zoe\u0308", "Zoë"),
        ("سارة", "سارة"),
        ("नेहा\u200d", "नेहा\u200d"),
        ("🐍", "🐍"),
    ],
)
def test_names_are_kept(text: str, kept: str) -> None:
    assert one_line(text, 80) == kept


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "\u200b",
        "\u0301",
        "a\nb",
        "a\rb",
        "a\x00b",
        "a\x7fb",
        "a\u2028b",
        "a\u202eb",
        "\ue000a",
        "a\ud800",
    ],
)
def test_names_that_break_a_line_or_show_nothing(text: str) -> None:
    with pytest.raises(ValueError, match=r"holds control|nothing can be seen"):
        one_line(text, 80)


def test_the_length_is_that_of_what_is_kept() -> None:
    assert one_line(" " * 50 + "e\u0301" * 80, 80) == "é" * 80
    with pytest.raises(ValueError, match="81 characters, more than 80"):
        one_line("x" * 81, 80)


def test_notes_may_have_lines() -> None:
    assert some_lines("one\r\n\ttwo\n", 80) == "one\n\ttwo"
    for text in ("a\rb", "a\x00b", "a\u202eb"):
        with pytest.raises(ValueError, match="control"):
            some_lines(text, 80)


@given(st.text(max_size=40))
def test_what_is_kept_is_one_line_in_nfc_and_stays_so(text: str) -> None:
    try:
        kept = one_line(text, 80)
    except ValueError:
        return
    assert len(kept.splitlines()) == 1
    assert kept == kept.strip() == unicodedata.normalize("NFC", kept) == one_line(kept, 80)
