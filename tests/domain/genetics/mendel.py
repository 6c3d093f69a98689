"""Check values on crosses and linkage; each names its outside source in the file."""

import json
from fractions import Fraction
from pathlib import Path

_VECTORS = json.loads((Path(__file__).parents[2] / "vectors" / "mendel.json").read_text("utf-8"))


def data(name):
    return _VECTORS["data"][name]


def expected(name):
    return _VECTORS["expected"][name]


def fractions(given):
    return {key: Fraction(value) for key, value in given.items() if Fraction(value)}
