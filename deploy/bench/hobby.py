"""What a hobby of so many keepers asks of a machine, and what gives out first.

    python deploy/bench/hobby.py [--times N] [--mix SECONDS] [--soak MINUTES] [--places N]

`hobby_year.py` assumes what a keeper does in a year and in its busiest hours. Here each kind of
operation is played against the whole service, on a PostgreSQL of its own, durable as in
production: what it costs in processor time, disk and time of the log's one writer is measured in
one run. Then eight clients play the mix of the hatch season's busiest hour, each the next operation
as soon as it was answered; letters wait for a worker that was away; and phones ask to wait for a
change, with the service as it is set and with N places in each web process. From that it is
reckoned, for 1,000, 10,000 and 100,000 keepers, how much of each thing is used.

``--soak`` plays the mix for so many minutes instead and prints how memory grew for each 1,000
requests after the first third, how many answers were 500 or turned away, and how late letters
were. It fails where memory grew by more than 1 MB for 1,000 requests, or an answer was 500.
"""

import argparse
import logging
import os
import sys
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

from hobby_year import DOINGS, HOURS, in_hour
from memory import of_each
from running import service, verdict

if TYPE_CHECKING:
    from hobby_costs import Cost, Meter
    from hobby_play import Hobby
    from hobby_run import Mixed, Waited

    from stack.local import LocalStack

SIZES = (1_000, 10_000, 100_000)
MACHINE_CORES = 2
"""That figures are given for."""
SALES_UNSENT = 24
"""Sold while the worker is away; each owes some letters."""
PHONES = 120
MOST_GROWTH = 1.0
"""Megabytes for each 1,000 requests."""


def main() -> int:
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--times", type=float, default=1.0, help="as often as usual, each alone")
    asked.add_argument("--mix", type=float, default=60.0, help="seconds")
    asked.add_argument("--soak", type=float, default=0.0, help="minutes; nothing else is done")
    asked.add_argument("--places", type=int, default=8, help="FEED_WAITERS to compare with")
    given = asked.parse_args()
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores", flush=True)
    with service(worker=True, TRUSTED_PROXIES="1") as stack:
        logging.disable()  # a line for each of thousands of requests
        misses = soaked(stack, given.soak) if given.soak else measured(stack, given)
    print(f"load {os.getloadavg()[0]:.1f}")
    return verdict(misses, "done")


def measured(stack: "LocalStack", given: argparse.Namespace) -> list[str]:
    from hobby_costs import Meter  # noqa: PLC0415  they import models
    from hobby_limits import Capacity  # noqa: PLC0415
    from hobby_play import Hobby  # noqa: PLC0415
    from hobby_run import PEOPLE, costs, letters_a_second, mixed  # noqa: PLC0415

    demand()
    hobby, meter = Hobby(stack.url, PEOPLE), Meter(stack)
    found = costs(hobby, meter, stack, given.times)
    print_costs(found, meter.idle)
    mix = mixed(hobby, meter, stack, HOURS[0], given.mix)
    print_mix(mix)
    for name, root in meter.roots().items():
        sizes = of_each(root)
        print(f"memory of {name}: {len(sizes)} processes, {sum(sizes):.0f} MB", end=" ")
        print(f"(first {sizes[0]:.0f}, largest {max(sizes):.0f})")
    sent, took = letters_a_second(hobby, stack, SALES_UNSENT)
    print(f"{sent} letters that waited left within {took:.1f} s", flush=True)
    usual = waited(hobby, meter, stack)
    places = usual.pushed.held
    print_limits(found, meter.idle, Capacity(MACHINE_CORES, sent / took, places, usual.waking()))
    stack.environment["FEED_WAITERS"] = str(given.places)
    stack.supervisor.end("web")
    stack.start_web()
    print(f"FEED_WAITERS={given.places}:")
    others = waited(hobby, meter, stack).pushed.held
    print(f"as it comes {places / max(1, others):.1f} times as many wait as with these")
    return [f"{mix.failed} answers of 500"] if mix.failed else []


def demand() -> None:
    hours = [f"{size:,}: {words}" for size in SIZES for words in ("a year", *HOURS)]
    print(f"\n| operation | a keeper | because | {' | '.join(hours)} |\n|" + "---|" * 12)
    for name, one in DOINGS.items():
        cells = [
            f"{count:,.0f}" if count >= 10 else f"{count:.2f}"
            for size in SIZES
            for count in (size * one.a_year, *(in_hour(hour, size)[name] for hour in HOURS))
        ]
        print(f"| {name} | {one.a_year:,.1f} | {one.because} | {' | '.join(cells)} |")


def print_costs(found: "Mapping[str, Cost]", idle: Mapping[str, float]) -> None:
    spent = ", ".join(f"{name} {1000 * one:.0f}" for name, one in idle.items())
    print(f"\nwith nothing to do, thousandths of a core: {spent}")
    print("| operation | requests | web, ms | worker, ms | PostgreSQL, ms | log held, ms |", end="")
    print(" table, B | index, B | WAL, B | letters | a request, ms |\n|" + "---|" * 11)
    for name, one in found.items():
        cores = " | ".join(f"{one.cores[group]:.1f}" for group in ("web", "worker", "postgres"))
        print(
            f"| {name} | {one.requests:.1f} | {cores} | {one.held:.1f} | {one.table:,.0f}", end=""
        )
        print(f" | {one.index:,.0f} | {one.wal:,.0f} | {one.letters:.1f} | {one.middle:.0f} |")
    sys.stdout.flush()


def print_mix(mix: "Mixed") -> None:
    a_second = mix.operations / mix.seconds
    one_keeper = sum(in_hour(HOURS[0], 1).values()) / 3600
    cores = ", ".join(f"{name} {one:.2f}" for name, one in mix.cores.items())
    took = sorted(seconds for _, seconds in mix.answers)
    print(
        f"\nthe mix: {a_second:.1f} operations and {len(took) / mix.seconds:.1f} requests/s", end=""
    )
    print(f" for {mix.seconds:.0f} s: as {a_second / one_keeper:,.0f} keepers do in that hour")
    print(f"cores: {cores}; the log was held {100 * mix.held:.1f} of 100 seconds;", end=" ")
    print(f"{mix.backends} connections; p50 {1000 * took[len(took) // 2]:.0f} ms,", end=" ")
    print(f"p95 {1000 * took[len(took) * 95 // 100]:.0f} ms")
    print(f"500: {mix.failed}; 503 or 429: {mix.turned_away}; refused: {len(mix.refused)}")
    for one in mix.refused[:3]:
        print(f"  {one[:300]}")
    if mix.late:
        print(f"{len(mix.late)} letters, p50 {mix.late[len(mix.late) // 2]:.1f} s,", end=" ")
        print(f"last {mix.late[-1]:.1f} s after they were owed", flush=True)


def waited(hobby: "Hobby", meter: "Meter", stack: "LocalStack") -> "Waits":
    """Phones that ask to wait, while nobody pushes and while somebody does."""
    from hobby_run import waiting  # noqa: PLC0415

    waiting(hobby, meter, stack.url, PHONES, pushing=True)  # first plans, caches, connections
    found = Waits(
        waiting(hobby, meter, stack.url, PHONES, pushing=False),
        waiting(hobby, meter, stack.url, PHONES, pushing=True),
        waiting(hobby, meter, stack.url, 0, pushing=True),
    )
    for words, one in zip(("nobody pushes", "somebody pushes"), found[:2], strict=True):
        print(f"{words}: of {one.asked} phones {one.held} waited,", end=" ")
        print(f"{one.at_once} were answered before ({one.statuses});", end=" ")
        print(f"{one.spent:.2f} core seconds; web {sum(one.web):.0f} MB", flush=True)
    print(f"one who waits spends {1000 * found.waking():.1f} ms of a core on another's push")
    return found


class Waits(NamedTuple):
    """Phones that waited while nobody pushed and while somebody did, and pushes without phones."""

    quiet: "Waited"
    pushed: "Waited"
    alone: "Waited"

    def waking(self) -> float:
        """Core seconds that one who waits costs at each push of somebody else."""
        from hobby_run import PUSHES  # noqa: PLC0415

        more = self.pushed.spent - self.quiet.spent - self.alone.spent
        return max(0.0, more) / PUSHES / max(1, self.pushed.held)


def print_limits(found: "Mapping[str, Cost]", idle: Mapping[str, float], capacity: object) -> None:
    from hobby_limits import core_seconds, disk, requests, shares, wal  # noqa: PLC0415

    for keepers in SIZES:
        print(f"\n{keepers:,} keepers: {requests(keepers, found):,.0f} requests a year,", end=" ")
        hours = (f"{requests(keepers, found, hour):,.0f} in the {hour} hour" for hour in HOURS)
        print(", ".join(hours))
        print("| | hour | wanted | there is | used | known |")
        print("|---|---|---|---|---|---|")
        for one in shares(keepers, found, idle, capacity):  # type: ignore[arg-type]
            row = f"| {one.what} | {one.hour} | {one.wanted:,.3g} | {one.there_is:,.3g}"
            print(f"{row} | {100 * one.used:,.1f} % | {one.how} |")
    spent = core_seconds(1_000, found)
    print(f"\n1,000 keepers: {disk(1_000, found) / 1e9:.1f} GB of tables a year,", end=" ")
    print(f"{disk(1_000, found, without='photo') / 1e9:.2f} of it without photos,", end=" ")
    print(f"{wal(1_000, found) / 1e9:.1f} GB of WAL; hours of a core a year:", end=" ")
    print(", ".join(f"{name} {one / 3600:.1f}" for name, one in spent.items()), flush=True)


def soaked(stack: "LocalStack", minutes: float) -> list[str]:
    from hobby_costs import Meter  # noqa: PLC0415
    from hobby_play import Hobby  # noqa: PLC0415
    from hobby_run import PEOPLE, mixed  # noqa: PLC0415

    mix = mixed(Hobby(stack.url, PEOPLE), Meter(stack), stack, HOURS[0], 60 * minutes)
    print_mix(mix)
    return list(_grown(mix.memory[len(mix.memory) // 3 :])) + (
        [f"{mix.failed} answers of 500"] if mix.failed else []
    )


def _grown(memory: "Sequence[tuple[int, Mapping[str, float]]]") -> Iterator[str]:
    """The least-squares line of memory against requests, by group of processes."""
    for name in memory[0][1]:
        slope = _slope([(asked / 1000, sizes[name]) for asked, sizes in memory])
        last = memory[-1][1][name]
        print(f"memory of {name}: {slope:+.2f} MB for 1,000 requests, {last:.0f} MB at the end")
        if slope > MOST_GROWTH and name != "postgres":  # which fills its `shared_buffers`
            yield f"{name} grew by {slope:.2f} MB for 1,000 requests, at most {MOST_GROWTH:g}"


def _slope(points: Sequence[tuple[float, float]]) -> float:
    middle_x, middle_y = (sum(one) / len(points) for one in zip(*points, strict=True))
    over = sum((x - middle_x) ** 2 for x, _ in points)
    return sum((x - middle_x) * (y - middle_y) for x, y in points) / over if over else 0.0


if __name__ == "__main__":
    sys.exit(main())
