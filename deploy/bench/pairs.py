"""Pushing and pulling by this tree and by an older one, in turn.

    python deploy/bench/pairs.py OLD_TREE [--pairs N] [--seconds S]

Each tree's whole web side runs on a PostgreSQL of its own, durable as in production. Of each
figure the two are measured one right after the other, in changing order, so that what slows the
machine for a while slows both. Printed is the median of new through old, and the interval that
holds the true median with 95 % at least (order statistics; Conover, Practical Nonparametric
Statistics, 3rd ed., section 3.2). It fails where the lower end is not above 0.9.
"""

import argparse
import subprocess
import sys
from collections.abc import Callable, Mapping
from math import comb
from pathlib import Path
from statistics import median
from typing import IO, cast

HERE = Path(__file__).resolve()
FIGURES = ("push 1 1", "push 1 4", "push 25 4", "push 500 1", "push 500 4", "pull")
"""Of a push: items a batch, clients at once."""
WANTED = 0.9


class Tree:
    """A tree's service, in a process of its own that measures it when told to."""

    def __init__(self, root: Path, seconds: float) -> None:
        command = [sys.executable, str(HERE), str(root), "--serve", "--seconds", str(seconds)]
        self._child = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        self._asks = cast(IO[str], self._child.stdin)
        self._answers = cast(IO[str], self._child.stdout)
        self._next_answer()

    def measure(self, figure: str) -> float:
        """Records a second."""
        print(figure, file=self._asks, flush=True)
        return float(self._next_answer())

    def close(self) -> None:
        self._asks.close()
        self._child.wait()

    def _next_answer(self) -> str:
        for line in self._answers:
            if line.startswith("> "):
                return line[2:]
        raise RuntimeError("the service ended")


def main() -> int:
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("old", type=Path, help="folder of the older tree")
    asked.add_argument("--pairs", type=int, default=20)
    asked.add_argument("--seconds", type=float, default=2.0, help="longest for one figure")
    asked.add_argument("--only", default=",".join(FIGURES), help="figures, with commas")
    asked.add_argument("--serve", action="store_true", help="serve that tree and measure it")
    given = asked.parse_args()
    if given.serve:
        serve(given.old.resolve(), given.seconds)
        return 0
    trees = {
        "old": Tree(given.old.resolve(), given.seconds),
        "new": Tree(HERE.parents[2], given.seconds),
    }
    try:
        ratios = {one: compare(trees, one, given.pairs) for one in given.only.split(",")}
    finally:
        for tree in trees.values():
            tree.close()
    missed = [report(*one) for one in ratios.items()]
    return 1 if any(missed) else 0


def compare(trees: Mapping[str, Tree], figure: str, pairs: int) -> list[float]:
    ratios = []
    for number in range(pairs + 1):
        order = ("old", "new") if number % 2 else ("new", "old")
        found = {name: trees[name].measure(figure) for name in order}
        if number:  # the first warms both
            ratios.append(found["new"] / found["old"])
    return ratios


def report(figure: str, ratios: list[float]) -> bool:
    """Print it; whether it misses what is wanted."""
    low, high = interval(ratios)
    missed = low <= WANTED
    print(
        f"{'MISS' if missed else 'ok  '}  {figure:12} {median(ratios):.2f} times the older tree "
        f"({low:.2f} to {high:.2f}, {len(ratios)} pairs)",
        flush=True,
    )
    return missed


def interval(values: list[float]) -> tuple[float, float]:
    """The narrowest pair of order statistics that holds the median with 95 % at least."""
    ordered, count = sorted(values), len(values)
    below, rank = 0.0, 0
    while below + comb(count, rank) / 2**count <= 0.025:
        below += comb(count, rank) / 2**count
        rank += 1
    return ordered[max(rank - 1, 0)], ordered[min(count - rank, count - 1)]


# --- in the process of a tree -------------------------------------------------------------


def serve(root: Path, seconds: float) -> None:
    sys.path[:1] = [str(root / one) for one in ("deploy/bench", "deploy", "server", "clients")]
    from running import service  # noqa: PLC0415  of that tree

    with service(worker=False, PUSH_ITEMS_A_MINUTE="100000000") as stack:
        measure = measured(stack.url, stack.owner_url, seconds)
        print("> ready", flush=True)
        for line in sys.stdin:
            print(f"> {measure(line.split())}", flush=True)


def measured(url: str, owner: str, seconds: float) -> Callable[[list[str]], float]:
    import sync_parts  # noqa: PLC0415  of that tree

    herds = [sync_parts.Herd("Wilhelmina Stroud", 4_000) for _ in range(4)]
    puller = sync_parts.Herd("Wilhelmina Stroud", 500)
    puller.call_all(1_500)
    sync_parts._settle(owner)

    def measure(figure: list[str]) -> float:
        if figure[0] == "pull":
            return sync_parts.pulling(puller, url).records or 0.0
        size, clients = int(figure[1]), int(figure[2])
        most = min(12_000, 800 * size)
        return sync_parts._push(herds[:clients], url, size, most, seconds)

    return measure


if __name__ == "__main__":
    sys.exit(main())
