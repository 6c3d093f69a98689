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


class Second(NamedTuple):
    """Animals on which two people who knew no answer ``agree``, each by another method; how many of
    them are ``verified``, and with the world's ``own`` rates would be; how many of those that are
    not are of that sex."""

    agree: int
    verified: int
    own: int
    left_right: int


class Calibration(NamedTuple):
    """``verified``: by sex how many are, and how many of them are not of it."""

    world: str
    settled: int
    verified: Mapping[str, tuple[int, int]]
    bins: Sequence[Kept]
    second: Second


def kept() -> list[Calibration]:
    """All, in order; none before anything was kept."""
    lines = FILE.read_text(encoding="utf-8").splitlines() if FILE.exists() else []
    return [_read(json.loads(line)) for line in lines]


def _read(row: dict[str, Any]) -> Calibration:
    bins, second = [Kept(*one) for one in row["bins"]], Second(*row["second"])
    verified = {sex: (of, wrong) for sex, (of, wrong) in row["verified"].items()}
    return Calibration(row["world"], row["settled"], verified, bins, second)


def write(found: Sequence[Calibration], order: Callable[[Calibration], Any]) -> None:
    """In place of what was there."""
    rows = [
        one._replace(bins=[a._replace(expected=round(a.expected, 6)) for a in one.bins])._asdict()
        for one in sorted(found, key=order)
    ]
    FILE.write_text("".join(json.dumps(row) + "\n" for row in rows), encoding="utf-8")
