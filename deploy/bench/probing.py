"""What probing alone comes to, for every species, depth and number of blind keepers.

    python deploy/bench/probing.py            prints the table
    python deploy/bench/probing.py --write    writes it beside the model, where people read it

Both sides stop at the same depth, nobody knows the others' answers, and each concludes what the
depth says. ``tests/domain/sexing/test_every_species_probed.py`` holds the file to the model.
"""

import argparse
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))

from scalewitness.domain.observations import Pass, Probing, Sex
from scalewitness.domain.sexing.case import Standing, case_of
from scalewitness.domain.sexing.evidence import Evidence
from scalewitness.domain.sexing.parameters import CURRENT, load_parameters
from scalewitness.domain.sexing.policy import DEFAULT_POLICY
from scalewitness.domain.sexing.records import EMPTY
from scalewitness.domain.sexing.taxa import Taxon, species_list

FILE = Path(__file__).parents[2] / "server/scalewitness/domain/sexing/PROBING.md"
DEPTHS = range(15)
KEEPERS = range(2, 11)
SEXES: tuple[Sex, Sex] = ("female", "male")
MARKS = {
    "verified female": "F",
    "probable female": "f",
    "unsexed": ".",
    "contested": "?",
    "probable male": "m",
    "verified male": "M",
}
DAY = 86_400_000


def probed(kind: Taxon, depth: int, keepers: int, version: str = CURRENT) -> Standing:
    """The standing after so many blind keepers, each of whom concludes what the depth says."""
    both = [_standing(kind, depth, keepers, sex, version) for sex in SEXES]
    return max(both, key=lambda one: abs(one.p_male - 0.5))


def _standing(kind: Taxon, depth: int, keepers: int, sex: Sex, version: str) -> Standing:
    calls = [probed_by(n, sex, str(depth)) for n in range(keepers)]
    case = case_of(calls, kind, EMPTY, load_parameters(version))
    return case.standing(DEFAULT_POLICY)


def probed_by(place: int, sex: Sex, depth: str, *, blind: bool = True) -> Evidence:
    """By a keeper of its own, both sides alike; whoever is not blind has a share in the animal."""
    return Evidence(
        call=f"call-{place}",
        examiner=f"keeper-{place}",
        role="keeper",
        at=place * DAY,
        position=place,
        stage="adult",
        conclusion=sex,
        sureness="certain",
        observed=Probing((Pass("left", depth, "resistance"), Pass("right", depth, "resistance"))),
        identity="confirmed",
        blind=blind,
        interested=not blind,
    )


def line(kind: Taxon) -> str:
    """One species: what its depths rest on, and for each depth the mark of two keepers and of
    ten."""
    if kind.ground is None:
        return f"| {kind.scientific} | not known | {' | '.join(['as concluded'] + ['–'] * 14)} |"
    marks = [
        MARKS[probed(kind, depth, 2).label] + MARKS[probed(kind, depth, 10).label]
        for depth in DEPTHS
    ]
    return f"| {kind.scientific} | {kind.ground} | {' | '.join(marks)} |"


def written() -> str:
    """The whole document."""
    head = " | ".join(str(depth) for depth in DEPTHS)
    rule = "|---|---|" + "---|" * len(DEPTHS)
    kinds = sorted(species_list(), key=lambda one: one.scientific)
    return "\n".join(
        [
            "# What probing alone comes to",
            "",
            f"Model {CURRENT}, default policy. Each cell: the label after two blind keepers, then",
            "after ten, who both find this depth, in subcaudal scales, on both sides.",
            "`F`, `M` verified; `f`, `m` probable; `.` unsexed. Only where somebody has published",
            "how deep both sexes of a species probe can probing alone verify a sex; elsewhere",
            "other evidence is needed: an ultrasound, eggs or young, a DNA test made for it.",
            "Written by `python deploy/bench/probing.py --write`.",
            "",
            f"| species | depths are | {head} |",
            rule,
            *map(line, kinds),
            "",
        ]
    )


def main() -> int:
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--write", action="store_true")
    text = written()
    if arguments.parse_args().write:
        FILE.write_text(text, encoding="utf-8")
    else:
        print(text)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
