"""The data files beside the code, read once. No other module opens them."""

import tomllib
from decimal import Decimal
from functools import cache
from importlib.resources import files
from typing import Any


@cache
def table(*path: str) -> dict[str, Any]:
    """One data file by its place under ``data/``, fractions as ``Decimal``.

    The answer is shared: read it, never write it. Raises FileNotFoundError.
    """
    text = files("scalewitness.domain.sexing").joinpath("data", *path).read_text("utf-8")
    return tomllib.loads(text, parse_float=Decimal)
