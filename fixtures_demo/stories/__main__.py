"""Play the four stories: ``python -m fixtures_demo.stories --url URL --maildir DIR``.

Everyone in them is invented afresh on each run. Needs the application's environment, for the
operator's commands, and the Maildir in which the demo's mail sink stores every letter.
"""

import argparse
import sys
import time
from collections.abc import Sequence
from pathlib import Path

from fixtures_demo.accounts import operate
from fixtures_demo.letters import Letters
from fixtures_demo.stories import breeding, buying, planning, visiting
from fixtures_demo.stories.stage import Broken, Stage
from scalewitness_cli.remote import Refusal, Stopped

CAST = ("Hedda Quillmoor", "Gus Ferrowby", "Cleo Dunwarrow", "Dagny Ostmark")
DIGITS = "0123456789abcdefghijklmnopqrstuvwxyz"


def main(arguments: Sequence[str] | None = None) -> int:
    """Play; returns 0 when every promise was kept, 1 when one was not, 2 without letters."""
    parser = argparse.ArgumentParser(prog="python -m fixtures_demo.stories")
    parser.add_argument("--url", required=True, help="where the server answers")
    parser.add_argument("--maildir", type=Path, help="where the mail sink stores letters")
    given = parser.parse_args(arguments)
    if given.maildir is None:
        print(
            "The stories follow links that come by letter only: give --maildir, the folder of "
            "the demo's mail sink. Nothing was played.",
            file=sys.stderr,
        )
        return 2
    stage = Stage(given.url, Letters(given.maildir), _base36(time.time_ns() // 1_000_000))
    began = time.monotonic()
    try:
        _play(stage)
    except (Broken, Refusal, Stopped) as reason:
        print(f"\nNot as promised, after {stage.steps} steps: {reason}", file=sys.stderr)
        return 1
    seconds = time.monotonic() - began
    print(f"\nAll four stories went as promised: {stage.steps} steps in {seconds:.0f} s.")
    print("  blind stayed blind, the buyer confirmed what they had seen, and everyone who relied")
    print("  on a verified sex was told when it fell and when it stood again; a season that rested")
    print("  on a wrong one was mended.")
    return 0


def _play(stage: Stage) -> None:
    stage.title(f"The cast of run {stage.run}")
    people = [stage.person(name) for name in CAST]
    stage.saw(f"{', '.join(CAST)} sign up, confirm their addresses by letter, and sign in")
    host, guest, contrary, independent = people
    founders = stage.found()
    for known in founders[-2:]:
        for one in (guest, contrary, independent):
            stage.vouch(known, one)
    names = " and ".join(one.name for one in founders[-2:])
    stage.saw(f"{names}, named by the operator at the start, vouch for those who will check")
    room = visiting.play(stage, host, guest)
    deal = buying.play(stage, room, guest.name)
    breeding.play(stage, deal, contrary, independent)
    planning.play(stage, host, guest)
    for person in (*people, *founders):
        person.sign_out()
    stage.title("The record recomputes every standing from its log")
    stage.saw(operate("replay"))


def _base36(number: int) -> str:
    digits = ""
    while number:
        number, rest = divmod(number, 36)
        digits = DIGITS[rest] + digits
    return digits


if __name__ == "__main__":
    sys.exit(main())
