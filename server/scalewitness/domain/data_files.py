"""The data files beside the code of ``domain``, read once. No other module opens them."""

import tomllib
from collections.abc import Callable
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Any


@cache
def data_file(
    package: str, *path: str, fractions: Callable[[str], object] = float
) -> dict[str, Any]:
    """One file by its place under ``data/`` of a package of ``domain``; its fractions are made by
    ``fractions``. The answer is shared: read it, never write it. Raises FileNotFoundError."""
    text = data_place(package, *path).read_text("utf-8")
    return tomllib.loads(text, parse_float=fractions)


def data_place(package: str, *path: str) -> Traversable:
    return files(f"scalewitness.domain.{package}").joinpath("data", *path)
