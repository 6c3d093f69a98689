"""How far the answer moves with the model's numbers, and which of them moves it most."""

from decimal import Decimal
from itertools import product
from typing import get_args

import pytest
from hypothesis import given, settings
from msgspec.structs import replace
from tests.domain.sexing.builders import (
    BALL,
    CORN,
    call,
    female,
    male,
    probed,
    standing,
)
from tests.domain.sexing.strategies import RECORDS, TAXA

from scalewitness.domain.observations import (
    Dna,
    Endoscopy,
    Hearsay,
    Method,
    Reproduction,
    Ultrasound,
)
from scalewitness.domain.sexing.box import Setting, changed, factors
from scalewitness.domain.sexing.case import case_of
from scalewitness.domain.sexing.learning.numbers import LearnedNumber, with_learned
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.policy import DEFAULT_POLICY
from scalewitness.domain.sexing.records import EMPTY, ExaminerRecords
from scalewitness.domain.sexing.sensitivity import in_words, sensitivity
from scalewitness.domain.sexing.tables import table

SECOND, THIRD = load_parameters("sexing-2"), load_parameters("sexing-3")
BOX = table("sensitivity.toml")


def _range(*calls, taxon=BALL, records=EMPTY, parameters=SECOND, **other):
    return sensitivity(calls, taxon, records, DEFAULT_POLICY, parameters, **other)


def _with(name, value, *calls, taxon=BALL):
    """The probability when one number of the base set is another."""
    base = SECOND.base.numbers
    numbers = changed(SECOND.base, _setting((name, value)))
    assert set(numbers.numbers) == set(base)
    return standing(*calls, taxon=taxon, parameters=replace(SECOND, base=numbers)).p_male


def _setting(*numbers):
    return Setting(tuple(numbers))


def _moves(found):
    return {move.name: move for move in found.moves}


def test_one_number_at_a_time_by_hand():
    calls = male("ash"), male("birch", identity="unconfirmed")
    found = _moves(_range(*calls))
    for name in ("mislead.probing.male", "identity.unconfirmed", "depth.outlier"):
        move = found[name]
        assert (move.low, move.high) == tuple(
            float(BOX["numbers"][name][e]) for e in ("low", "high")
        )
        assert move.value == SECOND.base.value(name)
        assert move.p_low == pytest.approx(_with(name, move.low, *calls), abs=1e-12)
        assert move.p_high == pytest.approx(_with(name, move.high, *calls), abs=1e-12)


def test_a_role_s_error_moves_by_its_mean_and_keeps_its_weight():
    calls = (male("ash"),)
    move = _moves(_range(*calls))["error.keeper"]
    assert (move.value, move.low, move.high) == (0.05, 0.02, 0.12)
    numbers = changed(
        SECOND.base, _setting(("error.keeper.a", 0.12 * 40), ("error.keeper.b", 0.88 * 40))
    )
    again = standing(*calls, parameters=replace(SECOND, base=numbers))
    assert again.weights[0].epsilon == pytest.approx((0.12, 0.12))
    assert move.p_high == pytest.approx(again.p_male, abs=1e-12)


def test_a_finding_s_strength_is_a_multiple_of_its_log_odds():
    found = _moves(_range(call("female", Dna("ZW", "shed", "heterogametic")), taxon=CORN))
    move = found["strength.dna.ZW.heterogametic.any"]
    assert (move.value, move.low, move.high) == (1.0, 0.5, 1.5)
    weakened = _with(
        "dna.ZW.heterogametic.any.male",
        0.98 * (0.002 / 0.98) ** 0.5,
        call("female", Dna("ZW", "shed", "heterogametic")),
        taxon=CORN,
    )
    assert move.p_low == pytest.approx(weakened, abs=1e-12)
    assert "a DNA test" in move.what


def test_weakest_documented_ranges_are_shifted_most():
    ball, corn = (_moves(_range(male("ash"), taxon=kind)) for kind in (BALL, CORN))
    assert ball["python_regius.depth.male"].high == 0.5
    assert corn["pantherophis_guttatus.depth.male"].low == -1.0
    assert "males" in ball["python_regius.depth.male"].what


def test_an_examiner_s_own_record_takes_the_place_of_their_role():
    records = ExaminerRecords(
        "r", {("ash", "probing", sex): (6.0, 94.0) for sex in ("male", "female")}
    )
    found = _moves(_range(male("ash"), records=records))
    own = found["record.ash.probing.male"]
    assert own.low < own.value == 0.06 < own.high
    assert own.by > 0
    assert found["error.keeper"].by == 0


def test_a_prior_from_a_linked_trait_is_one_more_number():
    found = _range(male("ash"), prior_male=0.95, prior_range=(0.9, 0.99))
    move = _moves(found)["prior"]
    assert move.p_low == pytest.approx(standing(male("ash"), prior_male=0.9).p_male, abs=1e-2)
    assert "prior" not in _moves(_range(male("ash"), prior_male=0.5, prior_range=(0.5, 0.5)))


def test_what_moves_most_and_what_could_be_said_instead():
    lone = _range(male("ash"))
    assert lone.mover.name == "error.keeper"
    assert lone.labels == ("probable male", "unsexed")
    assert "how often a keeper nobody has checked is wrong" in in_words(lone)
    assert "could then also be: unsexed" in in_words(lone)
    two = _range(male("ash"), male("birch"))
    assert two.labels[0] == "verified male"
    assert two.mover.name.startswith("mislead.probing")
    assert two.mover.by == max(move.by for move in two.moves)


def test_a_settled_sex_stays_what_it_is():
    eggs = call("female", Reproduction("laid_eggs", True), "ida")
    found = _range(eggs, call("female", Endoscopy("ovaries"), "vera", role="veterinarian"))
    assert found.labels == ("verified female",)
    assert in_words(found).endswith("The label would stay the same.")
    assert "between less than 0.1 and" in in_words(found)


def test_a_record_that_says_nothing_moves_with_nothing():
    for calls in ((), (call("undetermined", probed(6)),)):
        found = _range(*calls)
        assert (found.p_low, found.p_high, found.moves, found.mover) == (0.5, 0.5, (), None)
        assert found.labels == ("unsexed",)
        assert in_words(found).startswith("No plausible change")


@settings(max_examples=40)
@given(RECORDS, TAXA)
def test_the_range_holds_the_answer_and_every_move(record, kind):
    found = _range(*record, taxon=kind)
    whole = standing(*record, taxon=kind, parameters=SECOND)
    assert found.p_male == whole.p_male
    assert found.labels[0] == whole.label
    assert found.p_low <= found.p_male <= found.p_high
    for move in found.moves:
        assert found.p_low <= min(move.p_low, move.p_high)
        assert max(move.p_low, move.p_high) <= found.p_high
    assert _range(*record[::-1], taxon=kind) == found


MIXED = (
    male("ash"),
    male("birch", blind=False, anchored_to="male", identity="unconfirmed"),
    call("male", Ultrasound("testes"), "vera", role="veterinarian"),
    female("cedar", sureness="unsure"),
    call("male", Hearsay("seller"), "sam"),
)


INTERPLAY = 1e-4


@pytest.mark.parametrize("calls", [MIXED, MIXED[:1], MIXED[1:3], MIXED[3:]])
def test_no_vertex_of_the_box_lies_outside_the_range(calls):
    """Every 97th choice of ends, assessed from scratch. In a record this plain the answer
    moves one way in each number, so that the corners bound the box but for their interplay."""
    found = _range(*calls)
    case = case_of(calls, BALL, EMPTY, SECOND)
    numbers = [
        factor.ends
        for factor in factors(case.base.weighed, case.base.weigher)
        if factor.ends[0].numbers and "session" not in factor.name
    ]
    vertices = list(product((0, 1), repeat=min(len(numbers), 14)))[::97]
    assert len(vertices) >= 5
    for vertex in vertices:
        at = sum((ends[end] for ends, end in zip(numbers, vertex, strict=False)), _setting())
        base = changed(SECOND.base, at)
        p = standing(*calls, parameters=replace(SECOND, base=base)).p_male
        assert found.p_low - INTERPLAY <= p <= found.p_high + INTERPLAY


# --- the box itself ---------------------------------------------------------------------

FIXED = {
    "identity.confirmed": "a code was read",
    "identity.mismatch": "one half says nothing, whatever else",
    "error.most": "a bound",
    "depth.held": "far beyond any depth that a snake is known to have",
    "probe.fine": "where a kind of probe begins; nothing follows from it until it is learned",
    "sureness.certain": "the unit",
    "sureness.fairly_sure": "the unit, in effect",
    "unresolved_share": "enters the pessimistic set only",
    "anchoring.discordant_blind": "only its ratio to the other share enters",
    "anchoring_share.endoscopy": "what is seen or measured cannot be swayed",
    "anchoring_share.dna": "what is seen or measured cannot be swayed",
    "anchoring_share.reproduction": "what is seen or measured cannot be swayed",
    "anchoring_share.parentage": "what is seen or measured cannot be swayed",
    "mislead.reproduction.female": "a finding of females only",
}


def test_every_number_has_its_place_in_the_box_or_a_reason_to_stay_out():
    listed = {f"{name}.{end}" for name in BOX["means"] for end in "ab"} | set(BOX["numbers"])
    findings = {name for name in THIRD.base.numbers if _is_finding(name)}
    assert set(THIRD.base.numbers) == listed | findings | set(FIXED)


def _is_finding(name):
    return name.split(".")[0] in get_args(Method)


def test_every_place_in_the_box_holds_its_number_and_says_whose_judgement_it_is():
    for name, entry in BOX["numbers"].items():
        assert float(entry["low"]) <= THIRD.base.value(name) <= float(entry["high"]), name
    for name, entry in BOX["means"].items():
        a, b = (THIRD.base.value(f"{name}.{end}") for end in "ab")
        assert float(entry["low"]) <= a / (a + b) <= float(entry["high"]), name
    for part in BOX.values():
        for name, entry in part.items():
            assert entry["status"] in {
                "published",
                "learned here",
                "common practice",
                "from memory",
                "our judgement",
            }
            assert entry["what"], name


@given(RECORDS, TAXA)
@settings(max_examples=25, deadline=None)
def test_the_parts_add_up_to_the_range(calls, kind):
    found = _range(*calls, taxon=kind, parameters=THIRD)
    assert all(part.by > 0 for part in found.parts)
    assert [part.by for part in found.parts] == sorted((p.by for p in found.parts), reverse=True)
    whole = found.p_high - found.p_low
    assert sum(part.by for part in found.parts) == pytest.approx(
        whole if found.parts else 0, abs=1e-12
    )
    assert bool(found.parts) == (found.mover is not None)


def test_what_is_only_reported_is_uncertain_as_a_report():
    """Two blind keepers say male, and its owner reports a veterinarian's ovaries: what moves
    the answer is whether that is so."""
    report = call(
        "female",
        Endoscopy("ovaries"),
        examiner="vet",
        role="veterinarian",
        interested=True,
        report="unconfirmed",
    )
    parts = {part.kind: part.by for part in _range(male("ash"), report, parameters=THIRD).parts}
    assert max(parts, key=parts.get) == "report"
    without = {part.kind for part in _range(male("ash"), parameters=THIRD).parts}
    assert "report" not in without
    assert "identity" not in without
    unread = _range(male("ash", identity="unconfirmed"), parameters=THIRD).parts
    assert "identity" in {part.kind for part in unread}


def test_a_kind_with_one_number_moves_as_that_number_does():
    found = _range(male("ash", identity="unconfirmed"), parameters=THIRD)
    alone = _moves(found)["identity.unconfirmed"].by
    parts = {part.kind: part.by for part in found.parts}
    animal = [m for m in found.moves if m.name.startswith("mislead.")]
    assert len(animal) == 2
    assert parts["identity"] / parts["examiners"] == pytest.approx(
        alone / _together(found, "examiners"), abs=1e-9
    )


def _together(found, kind):
    """A kind's width by the test's own arithmetic: every number of it moved at once, each to
    the end that alone lowers the answer, then to the one that raises it."""
    calls = (male("ash", identity="unconfirmed"),)
    side = case_of(calls, BALL, EMPTY, THIRD).base
    own = {one.name: one for one in factors(side.weighed, side.weigher) if one.kind == kind}
    reached = [found.p_male]
    for wanted in (min, max):
        numbers = []
        for name, factor in own.items():
            move = next(m for m in found.moves if m.name == name)
            best = wanted((move.p_low, factor.ends[0]), (move.p_high, factor.ends[1]), key=first)
            numbers += best[1].numbers
        changed_set = replace(THIRD, base=changed(THIRD.base, Setting(tuple(numbers))))
        reached.append(standing(*calls, parameters=changed_set).p_male)
    singles = [p for m in found.moves if m.name in own for p in (m.p_low, m.p_high)]
    return max(reached + singles) - min(reached + singles)


def first(pair):
    return pair[0]


def test_that_a_check_said_to_be_blind_may_not_have_been_widens_the_range():
    """Of the second of two, who could have been told; and more so where it was learned."""
    found = _range(female("ash"), female("birch"), parameters=THIRD)
    move = _moves(found)["blind.followed"]
    assert (move.value, move.low, move.high, move.p_low) == (0, 0, 0.05, found.p_male)
    assert move.p_high > found.p_male
    assert "blind.followed" not in _moves(_range(female("ash"), parameters=THIRD))
    figures = map(Decimal, ("0.12", "0.06", "0.2"))
    learned = with_learned(THIRD, [LearnedNumber("blind.followed", *figures, 900, 900, 90, 90)])
    found = _range(female("ash"), female("birch"), parameters=learned)
    move = _moves(found)["blind.followed"]
    assert (move.low, move.high, move.status) == (0.06, 0.2, "learned here")
    assert move.p_low < found.p_male < move.p_high
