"""How a reader is used to having days and weights written. What is stored, sent and signed knows
none of it: pages and letters are put into words within :func:`written_for`."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, date, tzinfo
from decimal import Decimal
from typing import Final, Literal, NamedTuple, get_args

DayStyle = Literal["", "month_first", "iso"]
WeightUnit = Literal["", "ounces"]
DAY_STYLES: Final = frozenset(get_args(DayStyle))
WEIGHT_UNITS: Final = frozenset(get_args(WeightUnit))

OUNCE: Final = Decimal("28.349523125")
"""Grams of an avoirdupois ounce, exactly (international yard and pound agreement, 1959)."""
FINEST: Final = Decimal("0.1")
"""Grams that a weight is kept to."""
HUNDREDTH: Final = Decimal("0.01")


class Habits(NamedTuple):
    """Of a reader; those of the record where they chose nothing: days as ``25 November 2026``,
    grams."""

    zone: tzinfo = UTC
    days: DayStyle = ""
    weights: WeightUnit = ""


_READER: ContextVar[Habits] = ContextVar("reader", default=Habits())  # noqa: B039  it is frozen


@contextmanager
def written_for(habits: Habits) -> Iterator[None]:
    """Within the block days and weights are put into words for this reader."""
    before = _READER.set(habits)
    try:
        yield
    finally:
        _READER.reset(before)


def readers() -> Habits:
    """Of whoever reads what is being put into words."""
    return _READER.get()


def day_in_words(day: date) -> str:
    """``25 November 2026``, ``November 25, 2026`` or ``2026-11-25``."""
    style = readers().days
    if style == "iso":
        return f"{day:%Y-%m-%d}"
    return f"{day:%B} {day.day}, {day.year}" if style == "month_first" else f"{day.day} {day:%B %Y}"


def day_in_short(day: date) -> str:
    """``25 Nov 2026``, ``Nov 25, 2026`` or ``2026-11-25``."""
    style = readers().days
    if style == "iso":
        return f"{day:%Y-%m-%d}"
    return f"{day:%b} {day.day}, {day.year}" if style == "month_first" else f"{day.day} {day:%b %Y}"


def month_in_words(day: date) -> str:
    """``Nov 2026`` or ``2026-11``."""
    return f"{day:%Y-%m}" if readers().days == "iso" else f"{day:%b %Y}"


def weight_in_words(*grams: Decimal | float | str) -> str:
    """``612 g`` or ``21.59 oz``; of several, from the first to the last."""
    ounces = readers().weights == "ounces"
    shown = [f"{_shown(Decimal(str(one)), ounces=ounces):f}" for one in grams]
    return f"{' to '.join(shown)} {'oz' if ounces else 'g'}"


def _shown(grams: Decimal, *, ounces: bool) -> Decimal:
    """Without the noughts that say nothing."""
    found = (grams / OUNCE).quantize(HUNDREDTH) if ounces else grams
    return found.quantize(Decimal(1)) if found == found.to_integral_value() else found.normalize()


def as_grams(typed: Decimal) -> Decimal:
    """What a reader typed as they are used to, in grams as they are kept."""
    if readers().weights != "ounces":
        return typed
    return (typed * OUNCE).quantize(FINEST)
