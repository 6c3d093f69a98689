"""A clutch at once: notes read, calls made, the sex ratio tested."""

import json
from pathlib import Path

import msgspec
import pytest

from scalewitness.domain.facts import CallMade
from scalewitness.domain.observations import Eversion, Pass, Probing
from scalewitness.domain.sexing.clutches import (
    ClutchRow,
    Tally,
    Together,
    clutch_calls,
    read_rows,
    sex_ratio,
    tally,
)

VECTORS = json.loads(
    (Path(__file__).parents[2] / "vectors" / "binomial_sex_ratio.json").read_text("utf-8")
)

NOTES = """
H1 m 9 8.5
H2 f 3 3,0
H3 F 2.5 -

H4 u
H5 male - 10
"""


def test_notes_become_rows():
    rows, problems = read_rows(NOTES)
    assert rows == [
        ClutchRow("H1", "male", "9", "8.5"),
        ClutchRow("H2", "female", "3", "3"),
        ClutchRow("H3", "female", "2.5"),
        ClutchRow("H4", "undetermined"),
        ClutchRow("H5", "male", None, "10"),
    ]
    assert problems == []


@pytest.mark.parametrize(
    ("line", "word"),
    [
        ("H9", "give the tag"),
        ("H9 m 9 9 9", "give the tag"),
        ("H9 x 9 9", "neither m nor f nor u"),
        ("H9 m nine", "no depth"),
        ("H9 m 9.25", "no depth"),
        ("H9 m -3", "no depth"),
        ("H9 m 31", "deeper than any"),
        ("H1 f 3 3", "stands twice"),
    ],
)
def test_a_line_that_cannot_be_read_is_named_and_the_others_stay(line, word):
    rows, problems = read_rows(f"H1 m 9 9\n\n{line}\nH2 f 3 3")
    assert [row.tag for row in rows] == ["H1", "H2"]
    assert [problem.row for problem in problems] == [3]
    assert word in problems[0].text


def test_probings_of_a_clutch():
    rows, _ = read_rows(NOTES)
    together = Together("probing", "second_person", probe_mm="1.5", harm=("bleeding",))
    calls = dict(clutch_calls(rows, together))
    assert calls["H1"].observed == Probing(
        (Pass("left", "9", "resistance"), Pass("right", "8.5", "resistance")), "1.5"
    )
    assert calls["H5"].observed.passes == (Pass("right", "10", "resistance"),)
    assert calls["H4"].observed.passes == ()
    assert {call.held_by for call in calls.values()} == {"second_person"}
    assert calls["H3"].identified.code == "H3"
    assert calls["H3"].harm == ("bleeding",)


def test_every_call_has_a_body_the_log_takes():
    rows, _ = read_rows(NOTES)
    for _, call in clutch_calls(rows, Together("probing", "keeper")):
        assert msgspec.json.decode(msgspec.json.encode(call), type=CallMade) == call


def test_popping_a_clutch():
    rows, _ = read_rows("H1 m\nH2 f\nH3 u")
    calls = dict(clutch_calls(rows, Together("eversion", "keeper", "certain")))
    assert [calls[tag].observed for tag in ("H1", "H2", "H3")] == [
        Eversion("manual", "hemipenes"),
        Eversion("manual", "nothing"),
        Eversion("manual", "unclear"),
    ]
    with pytest.raises(ValueError, match="no depths"):
        clutch_calls([ClutchRow("H1", "male", "9")], Together("eversion", "keeper"))


def test_the_trades_count():
    rows, _ = read_rows(NOTES)
    found = tally(row.conclusion for row in rows)
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
