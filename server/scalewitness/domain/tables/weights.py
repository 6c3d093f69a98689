"""Weights as keepers write them: figures with either mark, in grams or in any other unit."""

import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Final, Literal

from scalewitness.domain.habits import FINEST, OUNCE
from scalewitness.domain.tables.sheets import Cell

Marks = Literal["point", "comma"]
"""Which of the two separates decimals."""
_MARKS: Final[tuple[Marks, ...]] = ("point", "comma")

GRAMS: Final[Mapping[str, Decimal]] = {
    "g": Decimal(1), "kg": Decimal(1000), "oz": OUNCE, "lb": 16 * OUNCE,
}  # fmt: skip
"""Of each unit, avoirdupois (international yard and pound agreement, 1959)."""
_UNITS: Final = {
    "g": "g|gr|gm|gms|gram|grams|gramm|gramme|grammes",
    "kg": "kg|kgs|kilo|kilos|kilogram|kilograms|kilogramm",
    "oz": "oz|ozs|ounce|ounces|unze|unzen",
    "lb": "lb|lbs|pound|pounds",
}
_UNIT: Final = {word: unit for unit, words in _UNITS.items() for word in words.split("|")}
_NAMES: Final = "|".join(sorted(_UNIT, key=len, reverse=True))
_WEIGHT = re.compile(rf"(\d[\d.,' ]*?)\s*({_NAMES})?\.?")
_BOTH = re.compile(
    rf"(\d+)\s*({_UNITS['lb']})\.?\s*(?:,|and|&)?\s*(\d[\d.,]*)\s*({_UNITS['oz']})\.?"
)


def weight_parts(cell: Cell) -> tuple[str, str] | None:
    """The figures and the unit, if there is one; None where it is no weight."""
    return _parts(cell.text)


def _parts(text: str) -> tuple[str, str] | None:
    found = _WEIGHT.fullmatch(text.strip().lower())
    if found is None:
        return None
    return found[1].replace(" ", "").replace("'", ""), _UNIT.get(found[2] or "", "")


def pounds_and_ounces(text: str) -> Decimal | None:
    """Grams of “2 lb 3 oz”; None of anything else.

    Raises:
        ArithmeticError: the figures are no number.
    """
    found = _BOTH.fullmatch(text.strip().lower())
    if found is None:
        return None
    return int(found[1]) * GRAMS["lb"] + number_in(found[3], marks_in(found[3]) or "point") * OUNCE


def unit_shown(cell: Cell) -> str:
    """The unit that the format of a number adds to it; empty without one."""
    parts = _parts(cell.shown)
    return parts[1] if parts else ""


def is_shown_rounded(cell: Cell) -> bool:
    """Whether what the sheet shows of a number is that number, rounded at most."""
    parts = _parts(cell.shown)
    return parts is not None and any(
        _rounds_to(Decimal(cell.text), parts[0], marks) for marks in _MARKS
    )


def _rounds_to(stored: Decimal, figures: str, marks: Marks) -> bool:
    try:
        shown = number_in(figures, marks)
    except ArithmeticError:
        return False
    _, _, places = figures.partition("," if marks == "comma" else ".")
    return abs(shown - stored) * 2 <= Decimal(1).scaleb(-len(places))


def in_grams(amount: Decimal, unit: str) -> Decimal:
    """As they are kept."""
    return (amount * GRAMS[unit]).quantize(FINEST)


def marks_in(figures: str) -> Marks | None:
    """Which mark is shown to separate decimals, by where it stands; None where it is open."""
    last = max(figures.rfind("."), figures.rfind(","))
    if last < 0:
        return None
    mark: Marks = "comma" if figures[last] == "," else "point"
    other: Marks = "point" if mark == "comma" else "comma"
    if "." in figures and "," in figures:
        return mark
    if figures.count(figures[last]) > 1:
        return other
    return mark if len(figures) - last - 1 != 3 or figures.startswith("0") else None


def number_in(figures: str, marks: Marks) -> Decimal:
    """Raises ArithmeticError where the figures are no number."""
    decimal, grouping = (",", ".") if marks == "comma" else (".", ",")
    return Decimal(figures.replace(grouping, "").replace(decimal, "."))
