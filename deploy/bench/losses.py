"""How many fewer animals a version verifies than `sexing-2` in the world of that version, and why.

    python deploy/bench/losses.py

Draws ball pythons, whose depths are published, with every error anew for each check, and has both
versions judge the same calls. Of what is lost it counts apart what `sexing-2` verified only through
what must verify nothing any more: calls of those who knew an answer, and one examiner's repeats.
Those are found by leaving such calls out: does `sexing-2` still verify what remains? Fails if of
the animals that it does verify so, more than 3 in 100 fewer are verified by the same calls now.
"""

import argparse
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
from msgspec.structs import replace

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))

from bench.histories import Record, standing_of
from bench.simulated import SEXES, Simulator
from bench.worlds import AS_MODELLED
from scalewitness.domain.sexing.learning.learn import learn
from scalewitness.domain.sexing.learning.numbers import with_learned
from scalewitness.domain.sexing.parameters import CURRENT, Parameters, load_parameters
from scalewitness.domain.sexing.taxa import taxon

ALLOWED = 0.03
"""Of those that independent blind calls verify: our judgement."""
BEFORE, SPECIES, SETTLED = "sexing-2", "python_regius", 2_000


class Labels(NamedTuple):
    """Of each animal: by all its calls, and by those alone that may verify."""

    all: list[str]
    independent: list[str]


def independent(record: Record) -> Record:
    """Without the calls of those who knew an answer, and of one examiner's by one method only the
    first."""
    seen, kept = set(), []
    for call in record.evidence:
        if call.anchored_to is None and (call.examiner, call.method) not in seen:
            seen.add((call.examiner, call.method))
            kept.append(call)
    return replace(record, evidence=tuple(kept))


def labels(records: Sequence[Record], parameters: Parameters) -> Labels:
    kind = taxon(SPECIES, parameters.version)

    def of(record: Record) -> str:
        return standing_of(replace(record, taxon=kind), parameters).label

    return Labels([of(one) for one in records], [of(independent(one)) for one in records])


def _beside(before: Labels, now: Labels) -> Iterator[tuple[str, str, str, str]]:
    return zip(before.all, now.all, before.independent, now.independent, strict=True)


def losses(before: Labels, now: Labels) -> Counter[tuple[str, str]]:
    """By sex: animals verified before, now, lost, lost that only dependent calls had verified,
    gained; and verified by independent calls before and now."""
    found: Counter[tuple[str, str]] = Counter()
    for sex in SEXES:
        word = f"verified {sex}"
        for old, new, old_alone, new_alone in _beside(before, now):
            was, remains = old == word, new == word
            found[sex, "before"] += was
            found[sex, "now"] += remains
            found[sex, "lost"] += was and not remains
            found[sex, "dependent"] += was and not remains and old_alone != word
            found[sex, "gained"] += remains and not was
            found[sex, "independent before"] += old_alone == word
            found[sex, "independent now"] += new_alone == word
    return found


def report(name: str, of: Counter[tuple[str, str]]) -> float:
    """Prints, and returns how many fewer independent calls verify, as a share."""
    both = {what: sum(of[sex, what] for sex in SEXES) for what in {w for _, w in of}}
    fewer = 1 - both["now"] / both["before"]
    alone = 1 - both["independent now"] / both["independent before"]
    print(f"\n{name}, males/females")
    for what in WORDS:
        print(f"  {WORDS[what]}: {of['male', what]:,}/{of['female', what]:,}")
    print(f"  {100 * fewer:.1f} in 100 fewer of all")
    print(f"  {100 * alone:.1f} in 100 fewer by independent calls alone")
    return alone


WORDS = {
    "before": f"verified by {BEFORE}",
    "now": "verified now",
    "lost": "no longer verified",
    "dependent": "of these only those who knew, and repeats, had verified",
    "gained": "verified now and not before",
    "independent before": f"verified by {BEFORE} by independent calls alone",
    "independent now": "verified now by independent calls alone",
}


def main() -> int:
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--animals", type=int, default=5_000, help="of each draw")
    arguments.add_argument("--draws", type=int, default=4)
    arguments.add_argument("--seed", type=int, default=20_261_129)
    given = arguments.parse_args()
    before, now = load_parameters(BEFORE), load_parameters(CURRENT)
    plain: Counter[tuple[str, str]] = Counter()
    after: Counter[tuple[str, str]] = Counter()
    for n in range(given.draws):
        rng = np.random.default_rng(given.seed + n)
        simulator = Simulator(AS_MODELLED, now, rng)
        others = simulator.settled(SETTLED)
        simulator.taxa = [taxon(SPECIES)]
        records = simulator.draw(given.animals).records
        was = labels(records, before)
        plain += losses(was, labels(records, now))
        learned = with_learned(now, learn(others, now))
        after += losses(was, labels(records, learned))
    alone = [
        report(f"{CURRENT}, nothing learned", plain),
        report(f"{CURRENT}, learned from {SETTLED:,} settled animals", after),
    ]
    return int(max(alone) > ALLOWED)


if __name__ == "__main__":
    raise SystemExit(main())
