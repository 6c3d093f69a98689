"""Break the cluster in each way, while keepers push: ``./deploy/cluster/faults``.

What is accepted must be in the log afterwards, once, at the position that was told; each checkpoint
that anybody was shown must be of the log as it is. Needs root and the packages in README.md, and
takes about a minute for each fault.
"""

import os
import signal
import subprocess
import sys
import time
from base64 import b64decode
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import psycopg

from cluster import parts
from cluster.breaking import FAULTS, Fault
from cluster.clients import Looker, Pusher, longest_gap, signed_up
from cluster.parts import APPLICATIONS
from cluster.start import folder_for, interrupted, options, say
from cluster.trial import NotReady, Trial, trial
from scalewitness.domain.translog.keys import read_signer
from scalewitness.domain.translog.tree import Frontier

PUSHERS: Final = 4
ALLOWED: Final = 60.0
"""Seconds within which writing must go on, beside those for which a fault holds it up by design."""
FIGURES: Final = Path(__file__).with_name("FIGURES.md")


@dataclass(frozen=True, slots=True)
class Row:
    """Of one fault: the longest time in which nobody, and in which somebody, had nothing accepted;
    in which nobody was shown a checkpoint; how often the outcome was unknown; who had no answer."""

    fault: Fault
    writing: float
    slowest: float
    reading: float
    accepted: int
    unknown: int
    unanswered: int

    def __str__(self) -> str:
        times = f"{self.writing:.0f} | {self.slowest:.0f} | {self.reading:.0f}"
        counts = f"{self.accepted} | {self.unknown} | {self.unanswered}"
        return f"| {self.fault.name} | {times} | {counts} |"


class Crowd:
    """Keepers who push, somebody who looks, and a witness."""

    def __init__(self, made: Trial) -> None:
        self._trial = made
        self._urls = [f"http://{one.address}:{parts.WEB_PORT}" for one in APPLICATIONS]
        emails = [signed_up(self._urls[0], number) for number in range(PUSHERS)]
        with made.superuser(_primary(made)) as hand:
            hand.execute("UPDATE account_emailaddress SET verified = true")
        self.pushers = [Pusher(self._urls, one, number) for number, one in enumerate(emails)]
        self.looker = Looker(self._urls)

    def start(self) -> None:
        for one in self._all:
            one.start()

    def stop(self) -> None:
        for one in self._all:
            one.stop()
        for one in self._all:
            one.join()

    @property
    def _all(self) -> list[Pusher | Looker]:
        return [*self.pushers, self.looker]

    @property
    def heard(self) -> "Counter[str]":
        return sum((one.heard for one in self.pushers), Counter[str]())

    @property
    def accepted(self) -> dict[str, int]:
        return {id: at for one in self.pushers for id, at in one.accepted.items()}

    @property
    def when(self) -> list[float]:
        return [moment for one in self.pushers for moment in one.when]

    def is_served_since(self, moment: float) -> bool:
        """Whether each of them had something accepted after this."""
        return all(one.when and one.when[-1] > moment for one in self.pushers)

    def witness(self) -> str:
        """Look at the log as an outside witness does; what is wrong, if anything."""
        key = str(read_signer(self._trial.env["LOG_SIGNING_KEY"]).verifier)
        run = "from scalewitness_cli.main import cli; cli()"
        argv = [sys.executable, "-c", run, "witness", self._urls[1], "--key", key]
        env = os.environ | {"XDG_STATE_HOME": str(self._trial.folder / "witness")}
        done = subprocess.run(argv, env=env, capture_output=True, text=True, check=False)
        # 3: nobody answered, or it was not sent, as it has no device's token.
        return "" if done.returncode in {0, 3} else done.stdout + done.stderr


def run(made: Trial, faults: Sequence[Fault]) -> tuple[list[Row], list[str]]:
    """Each fault, one after the other; their rows, and what went wrong."""
    wrong: list[str] = []
    rows: list[Row] = []
    crowd = Crowd(made)
    crowd.start()
    try:
        for fault in faults:
            try:
                rows.append(_suffered(made, crowd, fault))
            except NotReady as reason:
                wrong.append(f"{fault.name}: {reason}")
                say(f"MISS  {wrong[-1]}")
                continue
            say(str(rows[-1]))
            wrong += _faults_of(rows[-1])
            if problem := crowd.witness():
                wrong.append(f"{fault.name}: the witness raises an alarm: {problem}")
    except KeyboardInterrupt:
        say("Interrupted: what was accepted so far is held to the log.")
    finally:
        crowd.stop()
    return rows, wrong + _held_to_the_log(made, crowd)


def _suffered(made: Trial, crowd: Crowd, fault: Fault) -> Row:
    made.eventually(made.is_whole, f"a whole cluster before “{fault.name}”")
    made.eventually(
        lambda: all(made.is_ready(one) for one in APPLICATIONS), f"the web before “{fault.name}”"
    )
    begun = time.monotonic()
    made.eventually(lambda: crowd.is_served_since(begun), f"a push before “{fault.name}”")
    began, heard, accepted = time.monotonic(), crowd.heard, len(crowd.accepted)
    fault.do(made)
    mended = time.monotonic()
    made.eventually(made.is_whole, f"a whole cluster after “{fault.name}”")
    made.eventually(lambda: crowd.is_served_since(mended), f"a push after “{fault.name}”")
    ended = time.monotonic()
    new = crowd.heard - heard
    return Row(
        fault,
        longest_gap(crowd.when, began, ended),
        max(longest_gap(one.when, began, ended) for one in crowd.pushers),
        longest_gap(crowd.looker.when, began, ended),
        len(crowd.accepted) - accepted,
        new["503 outcome_unknown"],
        sum(count for what, count in new.items() if not what[:1].isdigit() and "dupl" not in what),
    )


def _faults_of(row: Row) -> list[str]:
    if row.writing > ALLOWED + row.fault.held:
        return [f"{row.fault.name}: nothing was written for {row.writing:.0f} s"]
    return []


def _held_to_the_log(made: Trial, crowd: Crowd) -> list[str]:
    """What does not fit: every answer and every checkpoint, laid beside the log as it is now."""
    with made.superuser(_primary(made)) as hand:
        rows = hand.execute(
            "SELECT fact::text, position, leaf_hash FROM ledger_entry ORDER BY position"
        ).fetchall()
        doubled = _count(hand, "SELECT count(*) - count(DISTINCT fact) FROM ledger_entry")
    at = {fact: position for fact, position, _ in rows}
    accepted = crowd.accepted
    lost = [one for one, position in accepted.items() if at.get(one) != position]
    wrong = [f"{one} was accepted, and is not where it was" for one in lost]
    wrong += [one for pusher in crowd.pushers for one in pusher.wrong]
    wrong += [f"{doubled} entries are twice"] if doubled else []
    roots = _roots([bytes(leaf) for _, _, leaf in rows])
    seen = [note.split("\n")[:3] for note in crowd.looker.seen]
    wrong += [
        f"a checkpoint of {size} entries is of another log"
        for _, size, root in seen
        if roots.get(int(size)) != b64decode(root)
    ]
    say(
        f"{len(accepted)} accepted, {len(lost)} of them lost, {doubled} doubled; "
        f"{len(seen)} checkpoints seen; {len(rows)} entries. Answers: {dict(crowd.heard)}"
    )
    return wrong


def _count(hand: "psycopg.Connection[Any]", query: str) -> int:
    ((number,),) = hand.execute(query.encode()).fetchall()
    return int(number)


def _roots(leaves: Sequence[bytes]) -> dict[int, bytes]:
    """The root of each tree that this log ever was."""
    frontier = Frontier()
    found = {0: frontier.root()}
    for leaf in leaves:
        frontier = frontier.append([leaf])
        found[frontier.size] = frontier.root()
    return found


def _primary(made: Trial) -> Any:
    return made.eventually(made.primary, "a primary")


def main() -> int:
    parser = options((__doc__ or "").splitlines()[0])
    parser.add_argument("--only", help="faults whose name has this in it")
    parser.add_argument("--write", action="store_true", help=f"put the table into {FIGURES.name}")
    arguments = parser.parse_args()
    folder = folder_for(arguments)
    chosen = [one for one in FAULTS if not arguments.only or arguments.only in one.name]
    rows: list[Row] = []
    try:
        signal.signal(signal.SIGTERM, interrupted)
        with trial(folder) as made:
            made.start(say)
            rows, wrong = run(made, chosen)
    except (NotReady, KeyboardInterrupt) as reason:
        wrong = [str(reason) or "interrupted"]
    for one in wrong:
        say(f"MISS  {one}")
    if arguments.write and not wrong:
        _write(rows)
    return 1 if wrong else 0


def _write(rows: Sequence[Row]) -> None:
    text, mark = FIGURES.read_text(), "|---|---|---|---|---|---|---|\n"
    before, _, after = text.partition(mark)
    rest = after.partition("\n\n")[2]
    FIGURES.write_text(before + mark + "".join(f"{row}\n" for row in rows) + "\n" + rest)


if __name__ == "__main__":
    sys.exit(main())
