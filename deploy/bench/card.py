"""The figures of the model card: where each number comes from, how much room is left to what must
still verify a sex, and how often probabilities came true in simulated worlds.

    python deploy/bench/card.py            prints them
    python deploy/bench/card.py --write    writes them beside the model, where people read them

The last are those that ``simulation.py --keep`` wrote down, world by world.
``tests/domain/sexing/test_card.py`` holds the file to the model.
"""

import argparse
import sys
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Final, get_args

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))

from bench.calibration import Calibration, kept
from bench.probing import probed_by
from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.case import Standing, case_of
from scalewitness.domain.sexing.evidence import other
from scalewitness.domain.sexing.parameters import CURRENT, Parameter, Status, load_parameters
from scalewitness.domain.sexing.policy import DEFAULT_POLICY
from scalewitness.domain.sexing.records import EMPTY
from scalewitness.domain.sexing.taxa import taxon

FILE: Final = Path(__file__).parents[2] / "server/scalewitness/domain/sexing/CARD.md"
SEXES: Final[tuple[Sex, ...]] = get_args(Sex)
DEPTHS: Final[Mapping[Sex, str]] = {"male": "9", "female": "3"}
"""What a ball python of that sex probes."""
MUST_WORK: Final[Mapping[str, Sequence[tuple[str, bool]]]] = {
    "two blind guests": (("right", True), ("right", True)),
    "its owner's first check and one blind guest": (("right", False), ("right", True)),
    "one slip after two, corrected by two later blind checks": (
        ("right", True),
        ("right", True),
        ("wrong", True),
        ("right", True),
        ("right", True),
    ),
}
"""Checks of one animal, each by another keeper: what they come to, and whether they are blind."""


def standing_after(checks: Sequence[tuple[str, bool]], sex: Sex) -> Standing:
    called = [sex if came_to == "right" else other(sex) for came_to, _ in checks]
    calls = [
        probed_by(place, one, DEPTHS[one], blind=blind)
        for place, (one, (_, blind)) in enumerate(zip(called, checks, strict=True))
    ]
    return case_of(calls, taxon("python_regius"), EMPTY, load_parameters()).standing(DEFAULT_POLICY)


def _room() -> Iterator[str]:
    for story, checks in MUST_WORK.items():
        for sex in SEXES:
            found = standing_after(checks, sex)
            p, warier = (
                share if sex == "male" else 1 - share
                for share in (found.p_male, found.p_male_pessimistic)
            )
            left = p - DEFAULT_POLICY.verified, warier - DEFAULT_POLICY.verified_pessimistic
            yield (
                f"| {story} | {found.label} | {p:.4f} | {left[0]:+.4f} | {warier:.4f} "
                f"| {left[1]:+.4f} |"
            )


def _numbers() -> Iterator[str]:
    numbers = load_parameters()
    for name, one in sorted(numbers.base.numbers.items()):
        warier = numbers.pessimistic.value(name)
        otherwise = f"{warier:g}" if warier != one.value else ""
        yield f"| `{name}` | {one.value:g} | {otherwise} | {one.status} | {_cell(one)} |"


def _cell(one: Parameter) -> str:
    return "; ".join(filter(None, (one.source, one.note))).replace("|", "/")


def _by_status() -> Iterator[str]:
    counts = Counter(one.status for one in load_parameters().base.numbers.values())
    for status in get_args(Status):
        if counts[status]:
            yield f"| {status} | {counts[status]} |"


def _came_true(found: Sequence[Calibration]) -> Iterator[str]:
    for one in found:
        wrong = [f"{bad} of {of:,}" for of, bad in one.verified.values()]
        bins = [f"{100 * b.expected:.1f} / {100 * b.right / b.count:.1f}" for b in one.bins]
        yield f"| {one.world} | {one.settled:,} | {' | '.join([*wrong, *bins])} |"


def _second(found: Sequence[Calibration]) -> Iterator[str]:
    for one in found:
        agree, verified, own, right = one.second
        rest = agree - verified
        yield (
            f"| {one.world} | {one.settled:,} | {agree:,} | {100 * verified / agree:.1f} "
            f"| {100 * own / agree:.1f} | {right:,} of {rest:,} ({100 * right / rest:.1f}) |"
        )


def written(found: Sequence[Calibration]) -> str:
    """The whole document."""
    edges = [f"{100 * one.low:g} to {100 * one.high:g}" for one in found[0].bins]
    return "\n".join(
        [
            "# Figures of the model card",
            "",
            f"Model {CURRENT}, default policy; `MODEL.md` is the card. Written by",
            "`python deploy/bench/card.py --write`.",
            "",
            "## What must still work, and with how much room",
            "",
            "A ball python, probed by keepers without a record. Verified takes",
            f"{DEFAULT_POLICY.verified:g}, and {DEFAULT_POLICY.verified_pessimistic:g} with the "
            "pessimistic numbers.",
            "",
            "| checked by | label | probability | room | pessimistic | room |",
            "|---|---|---|---|---|---|",
            *_room(),
            "",
            "## How often probabilities came true",
            "",
            "In each world of `deploy/bench/worlds.py`, after so many settled animals: wrong",
            "among those verified; then, of animals whose favoured sex had so many in 100, what",
            "was expected and what came true, in 100. Intervals stand in",
            "`deploy/bench/FIGURES.md`.",
            "",
            f"| world | settled | males wrong | females wrong | {' | '.join(edges)} |",
            "|---|---|---|---|" + "---|" * len(edges),
            *_came_true(found),
            "",
            "## What a second method verifies",
            "",
            "Animals that two people who knew no answer examined, each by another method, and",
            "came to the same sex; how many in 100 of them are verified, and would be if the model",
            "held the world's own rates; and of those that are not, how many are of that sex.",
            "",
            "| world | settled | examined so | verified | by its own rates | right of the others |",
            "|---|---|---|---|---|---|",
            *_second(found),
            "",
            "## Where each number comes from",
            "",
            "| source | numbers |",
            "|---|---|",
            *_by_status(),
            "",
            "| number | value | pessimistic | status | source and why |",
            "|---|---|---|---|---|",
            *_numbers(),
            "",
        ]
    )


def main() -> int:
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--write", action="store_true")
    text = written(kept())
    if arguments.parse_args().write:
        FILE.write_text(text, encoding="utf-8")
    else:
        print(text)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
