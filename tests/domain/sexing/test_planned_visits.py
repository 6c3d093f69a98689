"""What a visit is planned to hold."""

import pytest
from msgspec.structs import replace
from tests.domain.sexing.builders import (
    BALL,
    CORN,
    male,
)
from tests.domain.sexing.planned import (
    EVERYONE,
    LATER,
    SECOND,
    VERA,
    animal_of,
    owner,
    plan_of,
)

from scalewitness.domain.observations import Ultrasound
from scalewitness.domain.sexing.feasible import (
    PLANNED,
)
from scalewitness.domain.sexing.outcomes import prospect
from scalewitness.domain.sexing.parameters import ParameterSet
from scalewitness.domain.sexing.planning import fill_visit
from scalewitness.domain.sexing.policy import DEFAULT_POLICY
from scalewitness.domain.sexing.records import EMPTY
from scalewitness.domain.sexing.tables import table


def _visit(minutes, *candidates, by=EVERYONE):
    return fill_visit(candidates, by, minutes, LATER, EMPTY, DEFAULT_POLICY, SECOND)


def _named(name, *calls, **other):
    return replace(animal_of(*calls, **other), animal=name)


HERD = (
    _named("unsexed"),
    _named("offered", owner(), stakes=("open_sale",)),
    _named("probable", owner()),
    _named("settled", male("ash"), male("birch")),
    _named("corn", owner(), taxon=CORN),
)


def test_a_visit_starts_with_what_is_worth_most_per_minute():
    sheet = _visit(500, *HERD)
    assert sheet.lines[0].animal == "offered"
    assert {line.animal for line in sheet.lines} == {"unsexed", "offered", "probable", "corn"}
    assert sheet.no_need == ("settled",)
    assert sheet.left_out == ()
    rates = [line.per_minute for line in sheet.lines]
    assert rates == sorted(rates, reverse=True)


@pytest.mark.parametrize("minutes", [0, 9, 10, 20, 31, 45, 60, 90, 150, 500])
def test_a_visit_keeps_to_its_time(minutes):
    sheet = _visit(minutes, *HERD)
    assert sheet.minutes == sum(line.minutes for line in sheet.lines) <= sheet.budget == minutes
    animals = [line.animal for line in sheet.lines]
    assert len(set(animals)) == len(animals)
    assert {*animals, *sheet.left_out, *sheet.no_need} == {one.animal for one in HERD}


def test_more_time_never_makes_a_worse_visit():
    worth = [sum(line.benefit for line in _visit(m, *HERD).lines) for m in range(0, 200, 20)]
    assert worth == sorted(worth)


def test_with_time_to_spare_the_better_check_takes_the_quicker_ones_place():
    wanted = _named("wanted", stakes=("open_sale",))
    quick = _visit(40, wanted).lines[0]
    ample = _visit(60, wanted).lines[0]
    best = plan_of(wanted).checks[0]
    assert (quick.method, ample.method, best.method) == ("probing", "endoscopy", "endoscopy")
    assert ample.benefit > quick.benefit
    assert ample.per_minute < quick.per_minute
    others = _visit(60, wanted, HERD[2], HERD[4])
    assert {line.animal: line.method for line in others.lines}["wanted"] == "probing"
    assert others.left_out == ()


def test_a_method_without_numbers_is_not_proposed():
    """As if nothing were known of what ultrasound shows."""
    base = SECOND.base.numbers
    kept = {name: one for name, one in base.items() if not name.startswith("ultrasound.")}
    without = replace(SECOND, base=ParameterSet(kept))
    ruled_out = {
        one.method: one.why for one in plan_of(animal_of(), VERA, parameters=without).ruled_out
    }
    assert "too little" in ruled_out["ultrasound"][0]


def test_without_examiners_there_is_no_visit():
    sheet = _visit(60, *HERD, by=())
    assert (sheet.lines, sheet.minutes) == ((), 0)


# --- the data ---------------------------------------------------------------------------


def test_every_number_of_planning_says_whose_judgement_it_is():
    sheet = table("planning.toml")
    for part in ("minutes", "stakes", "worth", "burden", "rest", "most", "depths"):
        for name, entry in sheet[part].items():
            assert entry["status"] in {"common practice", "our judgement"}, name
            assert entry["value"] >= 0, name
    assert set(PLANNED) <= set(sheet["minutes"]) & set(sheet["burden"])


def test_an_ultrasound_conclusion_is_what_it_was_in_the_model():
    found = {one.conclusion: one.observed for one in prospect("ultrasound", BALL, SECOND).outcomes}
    assert found == {"male": Ultrasound("hemipenes"), "female": Ultrasound("pockets")}
