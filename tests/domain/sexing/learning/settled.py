"""Settled animals drawn for the tests, by shares that the test knows."""

import numpy as np
from tests.domain.sexing.builders import call, probed

from scalewitness.domain.observations import (
    Eversion,
    Hearsay,
    Observation,
    Probing,
    Ultrasound,
    Visual,
)
from scalewitness.domain.sexing.evidence import other
from scalewitness.domain.sexing.learning.settled import SettledAnimal
from scalewitness.domain.sexing.parameters import load_parameters

THIRD = load_parameters("sexing-3")
CLEAR = {"male": Ultrasound("testes"), "female": Ultrasound("ovaries")}


def seen(sex: str, method: str) -> Observation:
    if method == "ultrasound":
        return CLEAR[sex]
    if method == "statement":
        return Hearsay("seller")
    if method == "visual":
        return Visual("tail")
    if method == "eversion":
        return Eversion("manual", "hemipenes" if sex == "male" else "nothing")
    return probed(9, 9) if sex == "male" else probed(3, 3)


def settled(
    sex: str, *checks: tuple[str, str], home: str = "home", method: str = "probing", **about: object
) -> SettledAnimal:
    """An animal with checks (examiner, what they concluded)."""
    calls = tuple(
        call(said, about.get("observed") or seen(said, method), examiner, **_of_call(about))
        for examiner, said in checks
    )
    return SettledAnimal(str(about.get("species", "python_regius")), sex, home, calls)


def _of_call(about: dict[str, object]) -> dict[str, object]:
    return {name: value for name, value in about.items() if name not in {"species", "observed"}}


def many(
    number: int,
    *,
    wrong: float = 0.05,
    mislead: float = 0.0,
    checks: int = 1,
    people: int = 60,
    homes: int = 60,
    sex: str = "",
    seed: int = 1,
    **about: object,
) -> list[SettledAnimal]:
    """So many settled animals whose checks are wrong so often, each by somebody else."""
    rng = np.random.default_rng(seed)
    return [_one(rng, wrong, mislead, checks, people, homes, sex, about) for _ in range(number)]


def _one(rng, wrong, mislead, checks, people, homes, sex, about) -> SettledAnimal:
    truth = sex or ("male", "female")[rng.integers(2)]
    turned = rng.random() < mislead
    said = [other(truth) if (rng.random() < wrong) != turned else truth for _ in range(checks)]
    who = rng.choice(people, size=checks, replace=False)
    given = [(f"keeper-{one}", what) for one, what in zip(who, said, strict=True)]
    return settled(truth, *given, home=f"home-{rng.integers(homes)}", **about)


def snakes(
    number: int,
    male: tuple[float, float],
    female: tuple[float, float],
    species: str,
    *,
    bias: dict[str, float] | None = None,
    seed: int = 1,
    homes: int = 12,
    people: int = 30,
) -> list[SettledAnimal]:
    """Probed animals of a species whose depths are normal with these middles and spreads."""
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(number):
        sex = ("male", "female")[rng.integers(2)]
        who, home = f"keeper-{rng.integers(people)}", f"home-{rng.integers(homes)}"
        off = (bias or {}).get(who, 0.0)
        sides = np.clip(rng.normal(*(male if sex == "male" else female), size=2) + off, 0, 30)
        observed = probed(*(round(2 * depth) / 2 for depth in sides))
        found.append(settled(sex, (who, sex), home=home, species=species, observed=observed))
    return found


def by_name(learned):
    return {one.name: one for one in learned}


def is_probing(of: SettledAnimal) -> bool:
    return all(isinstance(one.observed, Probing) for one in of.checks)
