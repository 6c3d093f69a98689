"""The data files of standings, by version."""

from decimal import Decimal
from functools import cache
from typing import Any

from scalewitness.domain.data_files import data_file, data_place


def table(*path: str) -> dict[str, Any]:
    """One data file, fractions as ``Decimal``: see :func:`data_file`."""
    return data_file("sexing", *path, fractions=Decimal)


@cache
def lineage(version: str) -> tuple[str, ...]:
    """The versions a version is made of, oldest first. A version holds what it changes and
    names in ``builds_on`` the one it takes everything else from."""
    older = table(version, "parameters.toml").get("builds_on")
    return (version,) if older is None else (*lineage(older), version)


def layers(version: str, name: str) -> list[dict[str, Any]]:
    """A version's file of that name and those it builds on, oldest first."""
    return [
        table(step, name) for step in lineage(version) if data_place("sexing", step, name).is_file()
    ]
