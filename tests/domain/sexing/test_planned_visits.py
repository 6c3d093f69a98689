"""What a visit is planned to hold."""

from itertools import product

import pytest
from msgspec.structs import replace
from tests.domain.sexing.builders import BALL, CORN, PARAMETERS, male
from tests.domain.sexing.planned import (
    ANYONE,
    EVERYONE,
    IDA,
    IVO,
    LATER,
    SECOND,
    VERA,
    animal_of,
    check_of,
    owner,
    plan_of,
)

from scalewitness.domain.observations import Ultrasound
from scalewitness.domain.sexing.feasible import (
    PLANNED,
)
from scalewitness.domain.sexing.outcomes import prospect
from scalewitness.domain.sexing.parameters import ParameterSet
from scalewitness.domain.sexing.planning import SETUP
from scalewitness.domain.sexing.policy import DEFAULT_POLICY
from scalewitness.domain.sexing.records import EMPTY
from scalewitness.domain.sexing.tables import table
from scalewitness.domain.sexing.visit_plan import Planner, fill_visit
from scalewitness.domain.sexing.weighing import Weighing


def _visit(minutes, *candidates, by=EVERYONE, later=(), parameters=SECOND):
    planner = Planner(by, later, LATER, EMPTY, DEFAULT_POLICY, parameters)
    return fill_visit(planner, candidates, minutes)


def _named(name, *calls, **other):
    return replace(animal_of(*calls, **other), animal=name)


HERD = (
    _named("unsexed"),
    _named("offered", owner(), stakes=("open_sale",)),
    _named("probable", owner()),
    _named("settled", male("ash"), male("birch")),
    _named("corn", owner(), taxon=CORN),
)


def test_a_visit_is_worked_in_the_order_given():
    sheet = _visit(500, *HERD)
    assert [line.animal for line in sheet.lines] == ["unsexed", "offered", "probable", "corn"]
    assert sheet.no_need == ("settled",)
    assert sheet.left_out == ()


def test_what_most_hangs_on_gets_the_little_time_there_is():
    assert [line.animal for line in _visit(10, *HERD).lines] == ["offered"]


@pytest.mark.parametrize("minutes", [0, 5, 9, 10, 20, 31, 45, 60, 90, 150, 500])
def test_a_visit_keeps_to_its_time(minutes):
    sheet = _visit(minutes, *HERD)
    assert sheet.minutes <= sheet.budget == minutes
    assert sheet.minutes == sum(line.minutes for line in sheet.lines) + sheet.setups
    assert sheet.setups == 4 * len(sheet.lines)
    animals = [line.animal for line in sheet.lines]
    assert len(set(animals)) == len(animals)
    assert {*animals, *sheet.left_out, *sheet.no_need} == {one.animal for one in HERD}


@pytest.mark.parametrize("minutes", range(0, 61, 3))
def test_no_other_choice_of_checks_is_worth_more(minutes):
    """Every choice there is, tried: two of a clutch, which set up once, and one by itself."""
    herd = [
        _named("one", clutch="c", stage="hatchling"),
        _named("two", owner(), clutch="c", stage="hatchling"),
        _named("alone", owner(), stakes=("open_sale",)),
    ]
    options = [(None, *plan_of(one, *EVERYONE).checks) for one in herd]
    best = 0.0
    for chosen in product(*options):
        checked = [check for check in chosen if check is not None]
        setups = {
            one.clutch or one.animal for one, check in zip(herd, chosen, strict=True) if check
        }
        if sum(check.minutes for check in checked) + SETUP * len(setups) <= minutes:
            best = max(best, sum(check.benefit for check in checked))
    assert sum(line.benefit for line in _visit(minutes, *herd).lines) == pytest.approx(best)


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


# --- a clutch ---------------------------------------------------------------------------

NOW_AND_LATER = {"by": (IDA,), "later": (ANYONE,), "parameters": PARAMETERS}
HATCHED = [_named(f"h-{n:02}", stage="hatchling", clutch="spring") for n in range(1, 13)]


def test_twelve_hatchlings_in_an_hour_are_twelve_lines():
    """They come out together once; what the hour does not allow to be probed is popped."""
    sheet = _visit(60, *HATCHED, **NOW_AND_LATER)
    assert [line.animal for line in sheet.lines] == [one.animal for one in HATCHED]
    assert [line.method for line in sheet.lines] == ["probing"] * 8 + ["eversion"] * 4
    assert (sheet.setups, sheet.minutes) == (4, 4 + 8 * 6 + 4 * 2)
    assert sheet.left_out == ()
    apart = _visit(60, *(replace(one, clutch="") for one in HATCHED), by=(IDA,))
    assert apart.setups == 4 * len(apart.lines)
    assert len(apart.lines) < 12


def test_a_clutch_stands_together_where_its_first_does():
    single = _named("single", stage="hatchling")
    sheet = _visit(120, HATCHED[0], single, HATCHED[1], by=(IDA,))
    assert [line.animal for line in sheet.lines] == ["h-01", "h-02", "single"]
    assert sheet.setups == 8


def test_every_line_says_what_it_could_settle_and_how_often():
    sheet = _visit(60, *HATCHED[:2], HERD[2], **NOW_AND_LATER)
    hatchling, _, probable = sheet.lines
    assert hatchling.settles == "Leaves 98 in 100 such probable, none verified."
    assert probable.settles == "Leaves 90 in 100 such verified."
    assert set(sheet.ahead) == {"h-01", "h-02"}


def test_alike_animals_are_weighed_once(monkeypatch):
    asked = []
    weigh = Weighing.of.__func__
    monkeypatch.setattr(Weighing, "of", classmethod(lambda *of: asked.append(of) or weigh(*of)))
    sheet = _visit(60, *HATCHED, **NOW_AND_LATER)
    assert len(sheet.lines) == 12
    assert len(asked) == 1
    known = replace(IVO, knows=frozenset({"h-03"}))
    _visit(60, *HATCHED, by=(IDA, known), parameters=PARAMETERS)
    assert len(asked) == 3


def test_what_a_check_costs_is_held_against_what_it_takes_away():
    """A sixtieth of one wrong decision off is worth a sixtieth of what that costs."""
    free = check_of(animal_of(owner()), "ultrasound", VERA)
    paid = replace(VERA, cost=0.03)
    assert check_of(animal_of(owner()), "ultrasound", paid).benefit == pytest.approx(
        free.benefit - 0.03
    )
    dear = replace(VERA, cost=0.2)
    assert not plan_of(animal_of(owner()), dear).checks
    wanted = plan_of(animal_of(owner(), stakes=("open_sale",)), dear).checks
    assert wanted[0].cost == 0.2


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
    parts = "minutes", "stakes", "worth", "burden", "price", "comes", "rest", "most", "depths"
    for part in parts:
        for name, entry in sheet[part].items():
            assert entry["status"] in {"common practice", "our judgement"}, name
            assert entry["value"] >= 0, name
    assert all(entry["value"] % 1 == 0 for entry in sheet["minutes"].values())
    assert set(PLANNED) <= set(sheet["minutes"]) & set(sheet["burden"])


def test_an_ultrasound_conclusion_is_what_it_was_in_the_model():
    found = {one.conclusion: one.observed for one in prospect("ultrasound", BALL, SECOND).outcomes}
    assert found == {"male": Ultrasound("hemipenes"), "female": Ultrasound("pockets")}
