"""Text that people type into one field: what may stand in it.

Names and notes end up in mail headers, in lists and beside calls, so nothing that breaks
a line or reorders the text around it gets in.
"""

import unicodedata
from typing import Final

_BREAKING: Final = frozenset({"Cc", "Cs", "Co", "Cn", "Zl", "Zp"})
_REORDERING: Final = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
"""Bidirectional embeddings, overrides and isolates (Unicode Standard Annex 9)."""


def one_line(text: str, most: int) -> str:
    """``text`` in NFC without surrounding space, 1 to ``most`` characters, on one line.

    Raises ValueError when it is empty, too long or holds control characters.
    """
    return _checked(text, most, allowed="")


def some_lines(text: str, most: int) -> str:
    """As :func:`one_line`, with line feeds and tabs allowed."""
    return _checked(text.replace("\r\n", "\n"), most, allowed="\n\t")


def _checked(text: str, most: int, allowed: str) -> str:
    text = unicodedata.normalize("NFC", text).strip()
    if not any(_is_visible(one) for one in text):
        raise ValueError("nothing can be seen in it")
    if len(text) > most:
        raise ValueError(f"it has {len(text)} characters, more than {most}")
    if any(_is_forbidden(one) for one in text if one not in allowed):
        raise ValueError("it holds control characters")
    return text


def _is_visible(one: str) -> bool:
    return unicodedata.category(one)[0] not in "CZM"


def _is_forbidden(one: str) -> bool:
    return unicodedata.category(one) in _BREAKING or one in _REORDERING
