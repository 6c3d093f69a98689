"""Check values of others. Each file's ``source`` member says where they were read."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from scalewitness.domain.sexing.examiners.labels import Labels, labels

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


def from_patterns(patterns: Sequence[tuple[str, int]], classes: int = 2) -> Labels:
    """Labels from answer patterns such as ``"0110"``, one digit for each examiner, with how
    many animals showed each; as many latent ``classes`` as are to be told apart."""
    digits = np.array([[int(digit) for digit in pattern] for pattern, _ in patterns])
    animal, examiner = np.indices(digits.shape)
    times = [float(number) for _, number in patterns]
    return labels(
        animal.ravel(), examiner.ravel(), digits.ravel(), classes=classes, answers=2, times=times
    )
