"""Where a value lies on a drawing, and how numbers are written on it."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from string import ascii_lowercase


@dataclass(frozen=True, slots=True)
class Axis:
    """A stretch of the drawing, in its units, for values from ``low`` to ``high``."""

    start: float
    length: float
    low: float
    high: float

    @property
    def end(self) -> float:
        return self.start + self.length

    def at(self, value: float) -> float:
        """The place of a value, to two decimals; beyond either end it is held there."""
        share = (value - self.low) / (self.high - self.low)
        return round(self.start + self.length * min(max(share, 0.0), 1.0), 2)


def letter(place: int) -> str:
    """The letter of the call at that place in log order: 0 is a, 25 is z, 26 is aa."""
    rest, last = divmod(place, len(ascii_lowercase))
    return (letter(rest - 1) if rest else "") + ascii_lowercase[last]


def plain(value: Decimal | float) -> str:
    """``9``, ``2.5``: a count of scales without idle noughts."""
    return f"{float(value):g}"


def listed(words: Sequence[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    return " and ".join(part for part in (", ".join(words[:-1]), *words[-1:]) if part)
