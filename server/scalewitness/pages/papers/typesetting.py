"""Papers to print and keep: values set by Typst into templates that lie beside this.

What people typed goes in as data. A template shows it as text and never reads it as markup, so
nothing in a name can draw, link or include anything.
"""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

import typst

from scalewitness.intake.heavy_work import MOST_WAITING, OneAtATime

HERE = Path(__file__).parent
PRESS = OneAtATime(MOST_WAITING)
"""A paper about a hundred checks with long notes takes 60 MB and a second, and twice that where a
character cannot be printed (measured); nobody's is anyone's in particular."""


def pdf(template: str, data: Mapping[str, Any]) -> bytes:
    """A PDF of the template of that name. ``data``: what JSON can hold, other values as their
    text; tagged and titled, so that a screen reader can read it (PDF/UA-1).

    The fonts have Latin, Greek, Cyrillic and Hebrew. A character of another script is printed
    as a box, which the standard forbids: such a paper is tagged and does not claim it.

    Raises:
        Busy: too many papers are being set.
    """
    text = json.dumps(_printable(data), default=str)
    with PRESS.turn(None):
        try:
            return _set(template, text, standard="ua-1")
        except typst.TypstError:
            return _set(template, text, standard=None)


def _set(template: str, data: str, standard: Literal["ua-1"] | None) -> bytes:
    return typst.compile(
        str(HERE / f"{template}.typ"),
        root=str(HERE),
        ignore_system_fonts=True,  # the same paper on every machine
        format="pdf",
        sys_inputs={"data": data},
        pdf_standards=standard,
    )


def _printable(value: Any) -> Any:
    """Without characters that cannot be seen, or that turn the text round."""
    if isinstance(value, str):
        shown = (one if one.isprintable() or one == "\n" else " " for one in value)
        return "".join(shown)
    if isinstance(value, Mapping):
        return {name: _printable(one) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return [_printable(one) for one in value]
    return value
