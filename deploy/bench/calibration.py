"""How often probabilities came true in simulated worlds, as ``simulation.py --keep`` writes it down
for the model card: a line for each world and number of settled animals."""

import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final, NamedTuple

FILE: Final = Path(__file__).with_name("calibration.jsonl")


class Kept(NamedTuple):
    """A range of probabilities of the favoured sex; its animals, the mean that was expected, how
    many are of that sex."""

    low: float
    high: float
    count: int
    expected: float
    right: int


class Calibration(NamedTuple):
    """``verified``: by sex how many are, and how many of them are not of it."""

    world: str
    settled: int
    verified: Mapping[str, tuple[int, int]]
    bins: Sequence[Kept]


def kept() -> list[Calibration]:
    """All, in order; none before anything was kept."""
    lines = FILE.read_text(encoding="utf-8").splitlines() if FILE.exists() else []
    return [_read(json.loads(line)) for line in lines]


def _read(row: dict[str, Any]) -> Calibration:
    bins = [Kept(*one) for one in row["bins"]]
    verified = {sex: (of, wrong) for sex, (of, wrong) in row["verified"].items()}
    return Calibration(row["world"], row["settled"], verified, bins)


def write(found: Sequence[Calibration], order: Callable[[Calibration], Any]) -> None:
    """In place of what was there."""
    rows = [
        one._replace(bins=[a._replace(expected=round(a.expected, 6)) for a in one.bins])._asdict()
        for one in sorted(found, key=order)
    ]
    FILE.write_text("".join(json.dumps(row) + "\n" for row in rows), encoding="utf-8")
