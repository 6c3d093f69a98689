"""The data files beside the code, read once. No other module opens them."""

import tomllib
from decimal import Decimal
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Any


@cache
def table(*path: str) -> dict[str, Any]:
    """One data file by its place under ``data/``, fractions as ``Decimal``.

    The answer is shared: read it, never write it. Raises FileNotFoundError.
    """
    return tomllib.loads(_place(*path).read_text("utf-8"), parse_float=Decimal)


@cache
def lineage(version: str) -> tuple[str, ...]:
    """The versions a version is made of, oldest first. A version holds what it changes and
    names in ``builds_on`` the one it takes everything else from."""
    older = table(version, "parameters.toml").get("builds_on")
    return (version,) if older is None else (*lineage(older), version)


def layers(version: str, name: str) -> list[dict[str, Any]]:
    """A version's file of that name and those it builds on, oldest first."""
    return [table(step, name) for step in lineage(version) if _place(step, name).is_file()]


def _place(*path: str) -> Traversable:
    return files("scalewitness.domain.sexing").joinpath("data", *path)
