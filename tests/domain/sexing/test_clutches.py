"""The count of a clutch and its sex ratio."""

import json
from pathlib import Path

import numpy as np
import pytest
from tests.domain.sexing.builders import PARAMETERS, call, female, male, probed

from bench.clutches import MANNERS, SIZES, ratio_of, remarked_on
from scalewitness.domain.observations import Eversion, Hearsay, Reproduction, Visual
from scalewitness.domain.sexing.clutches import FirstCheck, Tally, first_check, sex_ratio, tally
from scalewitness.domain.sexing.evidence import Evidence

VECTORS = json.loads(
    (Path(__file__).parents[2] / "vectors" / "binomial_sex_ratio.json").read_text("utf-8")
)
SHOWS = 0.7
"""Of male hatchlings: the smaller of 0.75 and, trusting calls less, 0.7 (methods.toml)."""


def test_the_trades_count():
    found = tally(["male", "female", "female", "undetermined", "male"])
    assert found == Tally(2, 2, 1)
    assert str(found) == "2.2.1"
    assert str(tally([])) == "0.0.0"


# --- what was seen of one of the young ---------------------------------------------------


def everted(seen: str, conclusion: str, manner: str = "manual", **other: str) -> Evidence:
    return call(conclusion, Eversion(manner, seen), **({"stage": "hatchling"} | other))


@pytest.mark.parametrize(
    ("calls", "shown"),
    [
        ([], None),
        ([male()], FirstCheck("male")),
        ([female(), male("ben")], FirstCheck("female")),
        ([male(anchored_to="male"), female("ben")], FirstCheck("female")),
        ([male(identity="mismatch")], None),
        ([call("undetermined", probed(6, 6)), female()], FirstCheck("female")),
        ([everted("hemipenes", "male")], FirstCheck("male", SHOWS)),
        ([everted("nothing", "female")], FirstCheck(None, SHOWS)),
        ([everted("nothing", "undetermined")], FirstCheck(None, SHOWS)),
        ([everted("nothing", "female", stage="adult")], FirstCheck(None, 0.15)),
        ([everted("nothing", "female"), male("ben")], FirstCheck("male")),
        ([everted("unclear", "female")], None),
        ([everted("nothing", "male")], None),
        ([everted("hemipenes", "male", "spontaneous")], None),
        ([call("female", Reproduction("laid_eggs", witnessed=True))], None),
        ([call("male", Visual("tail")), call("male", Hearsay("seller"))], None),
    ],
)
def test_the_first_check_in_somebodys_own_view(calls, shown):
    assert first_check(calls, PARAMETERS) == shown


# --- the ratio ----------------------------------------------------------------------------

COLUMNS = VECTORS["data"]["clutch_grid_p0.5"]["columns"]
GRID = [
    dict(zip(COLUMNS, row, strict=True)) for row in VECTORS["expected"]["clutch_grid_p0.5"]["rows"]
]


def clutch(males: int, females: int = 0, nothing: int = 0, shows: float = 1.0) -> list[FirstCheck]:
    kinds = (("male", males), ("female", females), (None, nothing))
    return [FirstCheck(sex, shows) for sex, count in kinds for _ in range(count)]


@pytest.mark.parametrize("row", GRID, ids=lambda r: f"{r['k']} of {r['n']}")
@pytest.mark.some(30)
def test_every_split_of_every_clutch_size(row):
    """Exact p and Clopper-Pearson limits for 6 to 14 young, from other software; nothing is
    said of 4 or 5."""
    found = sex_ratio(clutch(row["k"], row["n"] - row["k"]), others=3)
    if row["n"] < 6:
        assert found is None
        return
    assert found.p == pytest.approx(row["p_two_sided_exact"], abs=1e-8)
    assert (found.low, found.high) == pytest.approx(
        (row["clopper_pearson_low"], row["clopper_pearson_high"]), abs=1e-8
    )


def test_males_that_need_not_evert_make_few_males_usual_and_many_no_likelier():
    """Of 12 everted, 2 showed: Binomial(12, 0.35) gives 2 × 0.1513 for so few (by hand:
    0.65^12 + 12 × 0.35 × 0.65^11 + 66 × 0.35^2 × 0.65^10 = 0.0057 + 0.0368 + 0.1088); by
    probing, 2 of 12 has 2 × 79 / 4096. Of 10 shown in 12 it is 2 × 79 / 4096 either way."""
    assert sex_ratio(clutch(2, nothing=10, shows=0.7)).p == pytest.approx(0.3026, abs=1e-4)
    assert sex_ratio(clutch(2, 10)).p == pytest.approx(158 / 4096)
    assert sex_ratio(clutch(10, nothing=2, shows=0.7)).p == pytest.approx(158 / 4096)


def test_who_everts_may_write_down_only_what_came_out():
    """Six males and six of which nothing is on record: an even clutch. Where they were probed
    nobody knows the others."""
    found = sex_ratio(clutch(6, shows=0.7), others=6)
    assert not found.unusual
    assert "Of 6 more nothing is noted; it may be that nothing everted." in found.text
    assert sex_ratio(clutch(6, shows=0.7)).unusual
    assert sex_ratio(clutch(6), others=6).unusual


@pytest.mark.parametrize("manner", MANNERS)
def test_an_even_clutch_checked_without_a_mistake_is_seldom_remarked_on(manner):
    """At most 5 in 100 of any size. At 2,000 clutches one standard error is 0.44 in 100 where
    4 in 100 are, so the bound leaves more than two."""
    rng = np.random.default_rng(7)
    shares = {size: remarked_on(manner, size, 2000, rng) for size in SIZES}
    assert max(shares.values()) <= 0.05, shares


def test_twelve_everted_six_and_six_are_nothing_unusual():
    calls = [everted("hemipenes", "male")] * 6 + [everted("nothing", "female")] * 6
    assert ratio_of(calls).text == (
        "6 males among 12 young checked is nothing unusual. Nothing everted in 6 of them, "
        "which also happens in males. One clutch can show very little."
    )


# --- in words -----------------------------------------------------------------------------


def test_an_uneven_clutch_accuses_nobody():
    assert sex_ratio(clutch(19, 3)).text == (
        "19 males among 22 young checked. An even clutch looks as uneven by chance in fewer than "
        "1 of 100, and sooner where young of one sex have left already. It may also be that "
        "females were taken for males: another check, by somebody who does not know the first "
        "answer, would show that."
    )
    few = sex_ratio(clutch(2, 10)).text
    assert "by chance in about 4 of 100" in few
    assert "may also be that males were taken for females" in few
    assert few.endswith("One clutch can show very little.")


@pytest.mark.parametrize("found", [clutch(8), clutch(0, 8), clutch(0, nothing=14, shows=0.7)])
def test_young_all_of_one_sex_bring_parthenogenesis_before_a_mistake(found):
    text = sex_ratio(found).text
    first, then = text.index("Unless a test proved who sired them"), text.index("taken for")
    assert first < text.index("parthenogenesis") < then


def test_no_other_clutch_brings_up_parthenogenesis():
    for found in (clutch(7, 1), clutch(1, 11), clutch(11, 1), clutch(3, 3)):
        assert "parthenogenesis" not in sex_ratio(found).text
