"""How often a clutch of one male to one female, checked without a mistake, is remarked on.

    python deploy/bench/clutches.py --clutches 10000

Draws even clutches of 6 to 30 and lets somebody check them who never errs: by probing, or by
everting, where every male shows or only the method's own share of males, and where that
nothing everted is reported as a female, as undetermined, or not at all. Fails if of any size,
checked in any manner, more than 5 in 100 are remarked on.
"""

import argparse
import sys
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))

from scalewitness.domain.observations import Conclusion, Eversion, Observation, Probing
from scalewitness.domain.sexing.clutches import Ratio, first_check, sex_ratio
from scalewitness.domain.sexing.evidence import Evidence
from scalewitness.domain.sexing.parameters import load_parameters

SIZES: Final = range(6, 31)
ALLOWED: Final = 0.05
PARAMETERS: Final = load_parameters()
SHOWING: Final = PARAMETERS.base.value("eversion.manual.hemipenes.hatchling.male")


class Young(NamedTuple):
    """Of one clutch: males that show when everted, males that do not, females."""

    shown: int
    hidden: int
    females: int


def _call(conclusion: Conclusion, observed: Observation) -> Evidence:
    return Evidence(
        call="one",
        examiner="breeder",
        role="keeper",
        at=0,
        position=0,
        stage="hatchling",
        conclusion=conclusion,
        sureness="certain",
        observed=observed,
        identity="unconfirmed",
        blind=True,
        interested=True,
    )


OUT: Final = _call("male", Eversion("manual", "hemipenes"))
NOTHING: Final = {
    word: _call(word, Eversion("manual", "nothing")) for word in ("female", "undetermined")
}
PROBED: Final = {word: _call(word, Probing()) for word in ("male", "female")}


def _everted(word: Conclusion | None) -> Callable[[Young], list[Evidence | None]]:
    """``word``: what is reported where nothing everted; None: nothing is."""
    return lambda young: (
        [OUT] * young.shown + [NOTHING[word] if word else None] * (young.hidden + young.females)
    )


def _probed(young: Young) -> list[Evidence | None]:
    males = young.shown + young.hidden
    return [PROBED["male"]] * males + [PROBED["female"]] * young.females


MANNERS: Final[dict[str, tuple[float, Callable[[Young], list[Evidence | None]]]]] = {
    "probed": (1.0, _probed),
    "every male everts; nothing: female": (1.0, _everted("female")),
    "every male everts; nothing: undetermined": (1.0, _everted("undetermined")),
    "every male everts; nothing: not reported": (1.0, _everted(None)),
    "some males do not; nothing: female": (SHOWING, _everted("female")),
    "some males do not; nothing: undetermined": (SHOWING, _everted("undetermined")),
    "some males do not; nothing: not reported": (SHOWING, _everted(None)),
}
"""The share of males that show, and what is reported."""


def remarked_on(manner: str, size: int, clutches: int, rng: np.random.Generator) -> float:
    """The share of even clutches of that size whose ratio is called anything but usual."""
    showing, _ = MANNERS[manner]
    males = rng.binomial(size, 0.5, clutches)
    shown = rng.binomial(males, showing)
    drawn = zip(males.tolist(), shown.tolist(), strict=True)
    remarked = sum(_remarked(manner, Young(out, n - out, size - n)) for n, out in drawn)
    return remarked / clutches


@cache
def _remarked(manner: str, young: Young) -> bool:
    ratio = ratio_of(MANNERS[manner][1](young))
    return ratio is not None and ratio.unusual


def ratio_of(calls: list[Evidence | None]) -> Ratio | None:
    """The ratio of a clutch with at most one call on each of the young."""
    each = [first_check([call], PARAMETERS) for call in calls if call is not None]
    found = [one for one in each if one is not None]
    return sex_ratio(found, others=len(calls) - len(found))


def worst(clutches: int, seed: int) -> Iterator[tuple[str, int, float]]:
    """By manner: the size of which most are remarked on, and the share."""
    rng = np.random.default_rng(seed)
    for manner in MANNERS:
        shares = {size: remarked_on(manner, size, clutches, rng) for size in SIZES}
        size = max(shares, key=shares.__getitem__)
        yield manner, size, shares[size]


def main() -> int:
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--clutches", type=int, default=10_000)
    arguments.add_argument("--seed", type=int, default=20_240_501)
    given = arguments.parse_args()
    print(f"{given.clutches:,} even clutches of each size, {SIZES[0]} to {SIZES[-1]} young")
    most = 0.0
    for manner, size, share in worst(given.clutches, given.seed):
        print(f"  {manner:42} at most {100 * share:.2f} in 100, of clutches of {size}")
        most = max(most, share)
    return 0 if most <= ALLOWED else 1


if __name__ == "__main__":
    raise SystemExit(main())
