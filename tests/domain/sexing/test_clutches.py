"""The count of a clutch and its sex ratio."""

import json
from pathlib import Path

import pytest

from scalewitness.domain.sexing.clutches import (
    Tally,
    sex_ratio,
    tally,
)

VECTORS = json.loads(
    (Path(__file__).parents[2] / "vectors" / "binomial_sex_ratio.json").read_text("utf-8")
)


def test_the_trades_count():
    found = tally(["male", "female", "female", "undetermined", "male"])
    assert found == Tally(2, 2, 1)
    assert str(found) == "2.2.1"
    assert str(tally([])) == "0.0.0"


COLUMNS = VECTORS["data"]["clutch_grid_p0.5"]["columns"]
GRID = [
    dict(zip(COLUMNS, row, strict=True)) for row in VECTORS["expected"]["clutch_grid_p0.5"]["rows"]
]


@pytest.mark.parametrize("row", GRID, ids=lambda r: f"{r['k']} of {r['n']}")
def test_every_split_of_every_clutch_size(row):
    """Exact p and Clopper-Pearson limits for 4 to 14 eggs, from other software."""
    found = sex_ratio(Tally(row["k"], row["n"] - row["k"], 3))
    assert found.p == pytest.approx(row["p_two_sided_exact"], abs=1e-8)
    assert (found.low, found.high) == pytest.approx(
        (row["clopper_pearson_low"], row["clopper_pearson_high"]), abs=1e-8
    )


def test_an_expected_share_other_than_one_half():
    assert sex_ratio(Tally(8, 0, 0), 0.9).p > sex_ratio(Tally(8, 0, 0)).p
    for males, expected in ((0, 0.5), (5, 0.0), (5, 1.0)):
        with pytest.raises(ValueError, match="ratio"):
            sex_ratio(Tally(males, 0, 9), expected)


def test_the_ratio_in_words():
    assert sex_ratio(Tally(4, 6, 0)).text == (
        "4 males among 10 sexed young is nothing unusual. One clutch can show very little."
    )
    odd = sex_ratio(Tally(19, 3, 0)).text
    assert "check whether some were called male by mistake" in odd
    assert "very little" not in odd
