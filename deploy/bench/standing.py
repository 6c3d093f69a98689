"""How fast standings are worked out: one animal, and a hundred thousand in turn.

    python deploy/bench/standing.py

Every animal has five calls of varied methods, depths, examiners and circumstances, drawn at
random, so that few of them repeat. They are worked out by the engine that intake, adopting a
policy and replay use, one after the other. Fails if all of them take 100 seconds or more of
one core, if one standing takes a millisecond or more, with the account of each call or
without, or its sensitivity 20.
"""

import argparse
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterable
from pathlib import Path
from statistics import median

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))

from bench.histories import Draw, Record, standing_of
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.policy import DEFAULT_POLICY
from scalewitness.domain.sexing.records import EMPTY
from scalewitness.domain.sexing.sensitivity import Sensitivity, sensitivity
from scalewitness.domain.sexing.standing import Assessment, assess

PARAMETERS = load_parameters()
MOST_SECONDS, MOST_ALONE, MOST_SENSITIVITY = 100.0, 1.0, 20.0


def account(record: Record) -> Assessment:
    return assess(record.evidence, record.taxon, EMPTY, DEFAULT_POLICY, PARAMETERS)


def moved(record: Record) -> Sensitivity:
    return sensitivity(record.evidence, record.taxon, EMPTY, DEFAULT_POLICY, PARAMETERS)


def milliseconds(records: Iterable[Record], action: Callable[[Record], object]) -> float:
    """Of one core, for one record: the median."""
    found = []
    for record in records:
        began = time.process_time_ns()
        action(record)
        found.append((time.process_time_ns() - began) / 1e6)
    return median(found)


def main() -> int:
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--animals", type=int, default=100_000)
    arguments.add_argument("--calls", type=int, default=5)
    arguments.add_argument("--sample", type=int, default=2_000)
    arguments.add_argument("--seed", type=int, default=7)
    given = arguments.parse_args()

    draw = Draw(np.random.default_rng(given.seed))
    sample = [draw.record(n, given.calls) for n in range(given.sample)]
    one = milliseconds(sample, lambda record: standing_of(record, PARAMETERS))
    shown = milliseconds(sample, account)
    ranged = milliseconds(sample[:200], moved)
    print(f"one standing     {one:7.3f} ms of one core (median of {len(sample):,})")
    print(f"with its account {shown:7.3f} ms")
    print(f"its sensitivity  {ranged:7.3f} ms")

    animals = [draw.record(n, given.calls) for n in range(given.animals)]
    cpu, wall = time.process_time(), time.perf_counter()
    labels = Counter(standing_of(record, PARAMETERS).label for record in animals)
    cpu, wall = time.process_time() - cpu, time.perf_counter() - wall
    each = 1e3 * cpu / given.animals
    print(f"{given.animals:,} animals, {given.calls} calls each: {cpu:.2f} s of one core")
    print(f"({wall:.2f} s on the clock), {each:.3f} ms each")
    print(", ".join(f"{count:,} {label}" for label, count in sorted(labels.items())))

    in_time = cpu < MOST_SECONDS and max(one, shown) < MOST_ALONE and ranged < MOST_SENSITIVITY
    return 0 if in_time else 1


if __name__ == "__main__":
    raise SystemExit(main())
