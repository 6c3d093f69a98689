"""The peers' figures of `sync.py`, and the verdict."""

import json
import subprocess
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sync_parts import LARGEST, SMALL, Figure

STORE, ENDPOINT = "kinto", "drf"


@dataclass(frozen=True)
class Verdict:
    what: str
    ratio: float
    bound: float
    at_least: bool

    @property
    def within(self) -> bool:
        return self.ratio >= self.bound if self.at_least else self.ratio <= self.bound

    def __str__(self) -> str:
        word = "at least" if self.at_least else "at most"
        mark = "ok  " if self.within else "MISS"
        return f"{mark}  {self.what}: {self.ratio:.2f} times, {word} {self.bound:g} wanted"


def peers(folder: Path, python: str, database: str) -> list[dict[str, Any]]:
    """What the scripts print: a JSON object a figure; of the endpoint in two set-ups that are
    both usual."""
    found: list[dict[str, Any]] = []
    for script, more in (
        # One client: with more, the store counts batches as taken that it does not hold.
        ("kinto_bench.py", ["--only", "push,pull,incremental", "--clients", "1"]),
        ("drf_bench.py", ["--only", "push"]),
        ("drf_bench.py", ["--only", "push", "--conn-max-age", "60", "--threads", "2"]),
    ):
        argv = [python, str(folder / script), "--pg-uri", database, *more]
        done = subprocess.run(argv, stdout=subprocess.PIPE, text=True, check=True, cwd=folder)
        found += [json.loads(line) for line in done.stdout.splitlines() if line.startswith("{")]
    for one in found:
        print(json.dumps(one), file=sys.stderr)
    return found


def judge(ours: Sequence[Figure], theirs: Iterable[dict[str, Any]]) -> list[Verdict]:
    """Each figure against the peer's best under the same batch size and number of clients."""
    listed = list(theirs)
    found: list[Verdict] = []
    for one in ours:
        if one.what.startswith("push, "):
            batch, clients = (int(word) for word in one.what.split() if word.isdigit())
            shape: dict[str, Any] = {"figure": "batch_push", "clients": clients}
            if batch != LARGEST:  # else against the peers' best, whatever their batch
                shape |= {"batch": batch}
            naive = _best(listed, bench=ENDPOINT, draft="naive", **shape)
            if clients == 1:
                store = _best(listed, bench=STORE, **shape)
                found.append(Verdict(f"{one.what}, to the store", _per_s(one) / store, 20, True))
            found.append(Verdict(f"{one.what}, to the endpoint", _per_s(one) / naive, 1, True))
        if one.what.startswith("pull of "):
            store = _best(listed, bench=STORE, figure="full_pull", page=1000)
            found.append(Verdict(one.what, _per_s(one) / store, 1, True))
    changes = {
        one.what: one.middle for one in ours if one.what.startswith("one change ") and one.middle
    }
    for what, middle in changes.items():
        count = int(what.split()[4].replace(",", ""))
        store = _best(listed, bench=STORE, figure="incremental_pull", collection=count, least=True)
        found.append(Verdict(f"{what}, to the store", middle / store, 1, False))
    if len(changes) == 2:
        small, large = (changes[what] for what in sorted(changes, key=_count))
        found.append(Verdict(f"one change, to out of {SMALL:,}", large / small, 1.3, False))
    return found


def _count(what: str) -> int:
    return int(what.split()[4].replace(",", ""))


def _per_s(one: Figure) -> float:
    return one.records or 0.0


def _best(figures: Iterable[dict[str, Any]], *, least: bool = False, **wanted: Any) -> float:
    fitting = [
        float(one["value"])
        for one in figures
        if all(one.get(name) == value for name, value in wanted.items())
    ]
    if not fitting:
        raise SystemExit(f"the peers gave no figure for {wanted}")
    return min(fitting) if least else max(fitting)
