"""A pedigree drawn from an animal to its ancestors, in the signs of genetics, and again in words.

A square is a male, a circle a female, a diamond an animal whose sex is open. The line around it is
that of its standing (`sign.STROKES`); one between two is whole where a test confirmed the parent.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final, Literal

from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from scalewitness.pages.plots.sign import STROKES

COLUMN: Final = 240.0
ROW: Final = 60.0
HALF: Final = 7.0
"""Half the width of a symbol."""
ROOM: Final = {"title": 28, "carries": 38}
"""Letters that fit beside a symbol; the words below have the whole."""
LINES: Final = 2
"""Of what an animal carries, drawn below the line to its parents; the words below have all."""

Sex = Literal["male", "female", ""]


@dataclass(frozen=True, slots=True)
class Ancestor:
    """``sex``: empty where it is open; ``label``: its standing's; ``carries``: a line for each
    locus; ``address``: of its page, empty where the reader may not see it; ``tested``: a test
    confirmed that it is the parent."""

    title: str
    sex: Sex
    label: str
    carries: tuple[str, ...] = ()
    address: str = ""
    tested: bool = False
    sire: "Ancestor | None" = None
    dam: "Ancestor | None" = None

    @property
    def parents(self) -> "list[tuple[str, Ancestor]]":
        named = (("sire", self.sire), ("dam", self.dam))
        return [(role, one) for role, one in named if one is not None]

    @property
    def in_words(self) -> str:
        known = f"{self.title}, {self.label}"
        return f"{known}; {'; '.join(self.carries)}" if self.carries else known


def pedigree(root: Ancestor) -> SafeString:
    """The drawing with the list below it; empty where no parent is known."""
    if not root.parents:
        return SafeString("")
    placed: list[dict[str, Any]] = []
    lines: list[dict[str, Any]] = []
    rows = _place(root, 0, 0, placed, lines)[1]
    context = {
        "title": f"Pedigree of {root.title}",
        "nodes": placed,
        "lines": lines,
        "width": COLUMN * (1 + max(one["column"] for one in placed)),
        "height": ROW * rows,
        "words": list(_words(root, "")),
    }
    return render_to_string("plots/pedigree.html", context)


def _place(
    one: Ancestor, column: int, row: float, nodes: list[dict[str, Any]], lines: list[dict[str, Any]]
) -> tuple[float, float]:
    """Where it lies down the drawing, and the first row below it and its ancestors."""
    below, heights = row, []
    for _, parent in one.parents:
        height, below = _place(parent, column + 1, below, nodes, lines)
        heights.append((height, parent.tested))
    below = max(below, row + 1)
    y = sum(height for height, _ in heights) / len(heights) if heights else ROW * (row + 0.5)
    x = COLUMN * column + HALF + 3
    lines += [
        {"d": f"M{x + HALF:g} {y:g}H{x + COLUMN - 24:g}V{height:g}H{x + COLUMN - HALF:g}"}
        | {"tested": tested}
        for height, tested in heights
    ]
    nodes.append(_node(one, column, x, y))
    return y, below


def _node(one: Ancestor, column: int, x: float, y: float) -> dict[str, Any]:
    kind = one.label.split(" ", maxsplit=1)[0]
    drawn = [_short(line, ROOM["carries"]) for line in one.carries[:LINES]]
    return {
        "column": column,
        "sex": one.sex,
        "x": x,
        "y": y,
        "left": x - HALF,
        "top": y - HALF,
        "size": 2 * HALF,
        "text": x + HALF + 5,
        "stroke": STROKES.get(kind, STROKES["unsexed"]),
        "kind": kind,
        "title": _short(one.title, ROOM["title"]),
        "title_at": y - 5 if drawn or one.parents else y + 4,
        "carries": [(line, y + 13 + 13 * n) for n, line in enumerate(drawn)],
    }


def _short(text: str, room: int) -> str:
    return text if len(text) <= room else f"{text[: room - 1]}…"


def _words(one: Ancestor, role: str) -> Iterator[tuple[str, Ancestor]]:
    """Everybody with what they are to the animal: ``sire’s dam``."""
    yield role or "the animal", one
    for name, parent in one.parents:
        yield from _words(parent, f"{role}’s {name}" if role else name)
