"""Check values of others. Each file's ``source`` member says where they were read."""

import json
from pathlib import Path
from typing import Any, NamedTuple

_FOLDER = Path(__file__).parents[3] / "vectors"


class Item(NamedTuple):
    data: Any
    expected: Any
    tolerance: Any


def load(name: str) -> dict[str, Any]:
    """One whole file."""
    return json.loads((_FOLDER / f"{name}.json").read_text("utf-8"))


def item(file: str, name: str) -> Item:
    """Data, expected values and tolerance of one item of a file."""
    whole = load(file)
    return Item(whole["data"][name], whole["expected"][name], whole["tolerance"][name])
