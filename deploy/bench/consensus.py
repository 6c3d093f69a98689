"""How fast the pooled model is fitted, as a ratio to crowd-kit in one run.

    python3 -m venv PEERS && PEERS/bin/pip install -r deploy/bench/requirements.txt
    python deploy/bench/consensus.py --peer-python PEERS/bin/python

Both fit Dawid and Skene's two-coin model to the same simulated calls, from the same start.
Ours runs to its own criterion. crowd-kit cannot stop on one, so it is given the number of
EM steps after which plain EM is within ``--agree`` of the limit in every parameter, and no
more. The run fails unless both answers agree that closely. crowd-kit's own early stop is
timed beside it, with how far short of the answer it ends.
"""

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))

from scalewitness.domain.sexing.examiners.labels import Labels, labels
from scalewitness.domain.sexing.examiners.latent import Model
from scalewitness.domain.sexing.examiners.pool import PoolFit, averaged, fit

Column = npt.NDArray[np.int64]

PEER = Path(__file__).with_name("consensus_peer.py")
DEFAULT_STOP = 0
"""As a number of steps: crowd-kit's own defaults."""


def main() -> int:
    """Run and print; the exit status is 1 when the answers differ or the ratio is missed."""
    given = _parse()
    columns, truth = simulate(given)
    exact = fit(labels(*columns), still=1e-12)
    steps = steps_to(labels(*columns), exact, given.agree)
    with tempfile.TemporaryDirectory() as folder:
        calls = Path(folder) / "calls.npz"
        np.savez(calls, animal=columns[0], examiner=columns[1], answer=columns[2])
        rounds = [_round(given, columns, calls, steps) for _ in range(given.rounds)]
    report = _report(given, rounds, exact, truth, steps)
    print(json.dumps(report, indent=1))
    return 0 if report["agree"] and report["ratio"] >= given.at_least else 1


def simulate(given: argparse.Namespace) -> tuple[tuple[Column, Column, Column], Column]:
    """Calls as animal, examiner and answer, and the truth. Three in ten are of the second
    class; sensitivity averages 0.8, specificity 0.9, each examiner with their own."""
    random = np.random.default_rng(given.seed)
    truth = (random.random(given.items) < 0.3).astype(np.int64)
    right = np.column_stack(
        [random.beta(18, 2, given.examiners), random.beta(8, 2, given.examiners)]
    )
    animal = np.repeat(np.arange(given.items), given.labels)
    gap = random.integers(1, max(2, given.examiners // given.labels), given.items)
    first = random.integers(0, given.examiners, given.items)
    examiner = first[:, None] + np.arange(given.labels) * gap[:, None]
    examiner = (examiner % given.examiners).ravel()
    slips = random.random(animal.size) > right[examiner, truth[animal]]
    return (animal, examiner, truth[animal] ^ slips), truth


def steps_to(of: Labels, exact: PoolFit, agree: float) -> int:
    """Plain EM steps until every parameter is within ``agree`` of the limit."""
    model = Model(of)
    here, steps = model.maximised(averaged(of)), 0
    while _apart(model, here, exact) > agree:
        here, _ = model.step(here)
        steps += 1
    return steps


def _apart(model: Model, here: npt.NDArray[np.float64], exact: PoolFit) -> float:
    tables = float(np.abs(model.tables(here) - exact.tables).max())
    return max(tables, float(np.abs(model.split(here)[0] - exact.prevalence).max()))


def _round(
    given: argparse.Namespace, columns: tuple[Column, Column, Column], calls: Path, steps: int
) -> dict[str, Any]:
    """Ours, the peer run to the answer, the peer as it stops by itself."""
    seconds, found = _timed(lambda: fit(labels(*columns)))
    return {
        "ours": (seconds, found),
        "peer": _peer(given.peer_python, calls, steps),
        "peer_default": _peer(given.peer_python, calls, DEFAULT_STOP),
    }


def _timed(run: Callable[[], PoolFit]) -> tuple[float, PoolFit]:
    started = time.perf_counter()
    found = run()
    return time.perf_counter() - started, found


def _peer(python: str, calls: Path, steps: int) -> dict[str, Any]:
    answer = calls.with_name(f"answer-{steps}.npz")
    # An OpenBLAS core type pinned in the environment slows a current numpy: let it choose.
    clean = {name: value for name, value in os.environ.items() if "OPENBLAS" not in name}
    command = [python, str(PEER), str(calls), str(answer), str(steps)]
    done = subprocess.run(command, check=True, capture_output=True, text=True, env=clean)
    answers: dict[str, Any] = json.loads(done.stdout)
    with np.load(answer) as arrays:
        answers.update(arrays)
    return answers


def _report(
    given: argparse.Namespace,
    rounds: list[dict[str, Any]],
    exact: PoolFit,
    truth: Column,
    steps: int,
) -> dict[str, Any]:
    ours = statistics.median(one["ours"][0] for one in rounds)
    peer = statistics.median(one["peer"]["seconds"] for one in rounds)
    early = statistics.median(one["peer_default"]["seconds"] for one in rounds)
    found, theirs, default = (
        rounds[-1]["ours"][1],
        rounds[-1]["peer"],
        rounds[-1]["peer_default"],
    )
    gaps = {
        "ours": float(np.abs(found.tables - exact.tables).max()),
        "peer": float(np.abs(theirs["tables"] - exact.tables).max()),
        "peer_default": float(np.abs(default["tables"] - exact.tables).max()),
    }
    differing = int((found.most_likely != theirs["posterior"].argmax(1)).sum())
    return {
        "animals": given.items,
        "calls_each": given.labels,
        "examiners": given.examiners,
        "rounds": given.rounds,
        "seconds": {"ours": ours, "peer": peer, "peer_default": early},
        "steps": {"ours": found.steps, "peer": steps, "peer_default": default["steps"]},
        "seconds_per_step": {"ours": ours / found.steps, "peer": peer / max(steps, 1)},
        "ratio": peer / ours,
        "ratio_to_peers_early_stop": early / ours,
        "largest_table_error": gaps,
        "largest_posterior_difference": float(np.abs(found.posterior - theirs["posterior"]).max()),
        "animals_classed_differently": differing,
        "agree": max(gaps["ours"], gaps["peer"]) <= given.agree * 1.01,
        "right": float((found.most_likely == truth).mean()),
        "load": os.getloadavg()[0],
        "peer_versions": theirs["versions"],
        "numpy": np.__version__,
    }


def _parse() -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--peer-python", required=True, help="a Python that has crowd-kit")
    parser.add_argument("--items", type=int, default=100_000, help="animals")
    parser.add_argument("--labels", type=int, default=3, help="calls on each animal")
    parser.add_argument("--examiners", type=int, default=300)
    parser.add_argument("--rounds", type=int, default=3, help="the medians are reported")
    parser.add_argument("--agree", type=float, default=1e-6, help="in every parameter")
    parser.add_argument("--at-least", type=float, default=20.0, help="the ratio to pass")
    parser.add_argument("--seed", type=int, default=20261125)
    return parser.parse_args()


if __name__ == "__main__":
    sys.exit(main())
