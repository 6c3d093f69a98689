"""What the record learned of its own numbers, in a keeper's words."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Final

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from scalewitness.domain.facts import AdoptedNumber
from scalewitness.domain.sexing.kept import KEPT
from scalewitness.domain.sexing.learning.words import Meaning, Unit
from scalewitness.domain.sexing.parameters import ParameterSet, load_parameters, released
from scalewitness.pages.parts.access import page, signed_in
from scalewitness.people.models import Keeper
from scalewitness.standings.queries.learned import Version, candidate, may_follow, shown, versions


@dataclass(frozen=True, slots=True)
class Line:
    """One number in words. ``before``: each version before, the latest first and the released one
    last, with its value in it, which is empty where it was none."""

    about: str
    value: str
    interval: str
    counted: str
    before: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class NumbersTable:
    """``heads``: of the columns for the values ``before``; ``rest``: how many numbers it leaves
    out."""

    lines: list[Line]
    heads: tuple[str, ...]
    rest: int


@signed_in
def show_learned(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    """For everyone signed in: of many animals in many collections only."""
    found, last, now = versions(), candidate(), timezone.now()
    context = {
        "in_force": found[0] if found else None,
        "now": _table(found[0].numbers, found[1:], released(found[0].version)) if found else None,
        "candidate": last,
        "next": _table(last.numbers, found, last.builds_on) if last else None,
        "waits_until": _waits(may_follow(found[0] if found else None), now),
        "versions": found,
        "kept": f"{KEPT.value * 100:g}",
    }
    return page(request, "examiners/learned.html", context)


def _waits(until: datetime | None, now: datetime) -> datetime | None:
    return until if until is not None and until > now else None


def _table(numbers: Sequence[AdoptedNumber], before: Sequence[Version], base: str) -> NumbersTable:
    earlier = [{one.name: one for one in version.numbers} for version in before]
    given = load_parameters(base).base
    heads = (*(version.version for version in before), base)
    lines = [_line(one, about, heads, earlier, given) for one, about in shown(numbers)]
    return NumbersTable(lines, heads, len(numbers) - len(lines))


def _line(
    one: AdoptedNumber,
    about: Meaning,
    heads: Sequence[str],
    earlier: Sequence[Mapping[str, AdoptedNumber]],
    given: ParameterSet,
) -> Line:
    held = [found[one.name].value if one.name in found else None for found in earlier]
    first = given.numbers.get(one.name)
    values = (*held, None if first is None else str(first.value))
    return Line(
        about=about.about,
        value=in_words(one.value, about.unit),
        interval=f"{_figure(one.low, about.unit)} to {_figure(one.high, about.unit)}",
        counted=_counted(one),
        before=tuple(
            (head, in_words(value, about.unit) if value else "")
            for head, value in zip(heads, values, strict=True)
        ),
    )


def in_words(value: str, unit: Unit) -> str:
    """With what it counts: "1.25 in 100"."""
    return f"{_figure(value, unit)} {_COUNTED_IN[unit]}"


_COUNTED_IN: Final[dict[Unit, str]] = {
    "of animals": "in 100",
    "of checks": "in 100",
    "scales": "scales",
    "times": "times as many",
}


def _figure(value: str, unit: Unit) -> str:
    number = Decimal(value) * (100 if unit.startswith("of ") else 1)
    return f"{round(number, 2).normalize():f}"


def _counted(one: AdoptedNumber) -> str:
    return (
        f"{one.males} males and {one.females} females in the collections of {one.collections} "
        f"keepers, checked by {one.examiners} people"
    )
