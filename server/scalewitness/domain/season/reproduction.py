"""How a species multiplies: mode, eggs or young at once, days between events, first breeding.

Figures for planning, each with its source and status; never limits, and no standing rests on
them. What no source says is None or absent, never a guess.
"""

from collections.abc import Mapping
from functools import cache
from math import exp
from types import MappingProxyType
from typing import Any

from msgspec import Struct, convert

from scalewitness.domain.data_files import data_file
from scalewitness.domain.genetics.young import mean_young
from scalewitness.domain.observations import Sex
from scalewitness.domain.season.events import Event, Mode
from scalewitness.domain.sexing.parameters import Status


class Sourced(Struct, frozen=True, kw_only=True):
    """Where a figure comes from. ``about``: what the source is about, where that is not the
    species itself; such a figure is borrowed."""

    status: Status
    source: str = ""
    note: str = ""
    about: str = ""


class ModeSourced(Sourced, frozen=True, kw_only=True, rename={"mode": "is"}):
    mode: Mode = "unknown"


class YoungAtOnce(Sourced, frozen=True, kw_only=True):
    """Eggs of a clutch or young of a litter as one source gives them; ``of`` which animals."""

    low: int
    high: int
    of: str
    mean: float | None = None
    sd: float | None = None
    n: int | None = None


class DaysBetween(Sourced, frozen=True, kw_only=True):
    """Whole days from one event to another, fewest and most of all sources together."""

    low: int
    high: int


class FirstBreeding(Sourced, frozen=True, kw_only=True):
    """From what weight or age on a sex is bred; None where no source says."""

    grams: int | None = None
    months: int | None = None


class Rest(Sourced, frozen=True, kw_only=True):
    """Seasons from one clutch of a female to her next; 1: every year."""

    seasons: int


class BreedingFigures(Struct, frozen=True):
    """All that is known of one species. ``young``: the first is computed with."""

    mode: ModeSourced
    young: tuple[YoungAtOnce, ...]
    days: Mapping[tuple[Event, Event], DaysBetween]
    first: Mapping[Sex, FirstBreeding]
    rest: Rest | None


UNKNOWN = BreedingFigures(
    ModeSourced(status="our judgement"), (), MappingProxyType({}), MappingProxyType({}), None
)


def breeding_figures(species: str) -> BreedingFigures:
    """What is known of the species with that key; nothing of one that is not listed."""
    return _sheet().get(species, UNKNOWN)


def clutch_sizes(species: str) -> dict[int, float]:
    """The chance of each number of eggs or young at once, from the source that is computed with;
    empty where there is none, and then whoever asks must be told that it is unknown."""
    given = breeding_figures(species).young
    return sizes_between(given[0].low, given[0].high, given[0].mean, given[0].sd) if given else {}


def sizes_between(
    low: int, high: int, mean: float | None = None, sd: float | None = None
) -> dict[int, float]:
    """A bell over ``low`` to ``high`` with just that mean: half-way where none is given, and the
    ends taken for two standard deviations where there is no other. Raises ValueError where the
    mean is not between the ends, or the lowest is below 0."""
    middle = (low + high) / 2 if mean is None else mean
    if not 0 <= low <= high or not low <= middle <= high:
        raise ValueError(f"no clutch sizes from {low} to {high} with a mean of {middle}")
    if low == high:
        return {low: 1.0}
    width = sd or (high - low) / 4
    left, right = low - 8.0 * (high - low), high + 8.0 * (high - low)
    for _ in range(80):  # the bell's place, so that what is left of it has that mean
        place = (left + right) / 2
        found = _bell(low, high, place, width)
        if mean_young(found) < middle:
            left = place
        else:
            right = place
    return found


def _bell(low: int, high: int, place: float, width: float) -> dict[int, float]:
    powers = {n: -((n - place) ** 2) / (2 * width**2) for n in range(low, high + 1)}
    largest = max(powers.values())
    weights = {n: exp(power - largest) for n, power in powers.items()}
    whole = sum(weights.values())
    return {n: weight / whole for n, weight in weights.items()}


@cache
def _sheet() -> Mapping[str, BreedingFigures]:
    sheet = data_file("season", "reproduction.toml")
    rows = {row["key"]: {**row, "days": _days(row, sheet["groups"])} for row in sheet["species"]}
    return MappingProxyType({key: _figures(row) for key, row in rows.items()})


def _days(row: Mapping[str, Any], groups: Mapping[str, Any]) -> dict[str, Any]:
    """A species' own, and what its group lends for the others."""
    return {**groups[row["group"]].get("days", {}), **row.get("days", {})}


def _figures(row: Mapping[str, Any]) -> BreedingFigures:
    steps = {_step(name): convert(one, DaysBetween) for name, one in row["days"].items()}
    return BreedingFigures(
        convert(row["mode"], ModeSourced),
        convert(row.get("young", ()), tuple[YoungAtOnce, ...]),
        MappingProxyType(steps),
        MappingProxyType(convert(row.get("first", {}), dict[Sex, FirstBreeding])),
        convert(row["rest"], Rest) if "rest" in row else None,
    )


def _step(name: str) -> tuple[Event, Event]:
    since, _, until = name.partition(" to ")
    return convert(since, Event), convert(until, Event)
