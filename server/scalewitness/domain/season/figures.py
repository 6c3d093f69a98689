"""The numbers of planning a season, each with its source and status, from ``data/season.toml``."""

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any


@cache
def _sheet() -> dict[str, Any]:
    place = files("scalewitness.domain.season").joinpath("data", "season.toml")
    return tomllib.loads(place.read_text("utf-8"))


def season_number(part: str, name: str) -> float:
    """One of them. Raises KeyError."""
    return float(_sheet()[part][name]["value"])
