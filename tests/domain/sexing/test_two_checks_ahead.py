"""What a second check would bring, whatever the first shows."""

from itertools import product
from math import exp, log

import numpy as np
import pytest
from msgspec.structs import replace
from tests.domain.sexing.builders import BALL, BOA, CORN, PARAMETERS, call, probed
from tests.domain.sexing.planned import ANYONE, IDA, LAB, LATER, VERA, animal_of, owner

from scalewitness.domain.sexing.ahead import TwoChecks, in_words, look_ahead
from scalewitness.domain.sexing.case import case_of
from scalewitness.domain.sexing.feasible import Available
from scalewitness.domain.sexing.findings import reading, typical
from scalewitness.domain.sexing.likelihood import log_ratio
from scalewitness.domain.sexing.parameters import ParameterSet
from scalewitness.domain.sexing.planning import every_check
from scalewitness.domain.sexing.policy import DEFAULT_POLICY
from scalewitness.domain.sexing.records import EMPTY, session_error
from scalewitness.domain.sexing.taxa import species_list
from scalewitness.domain.sexing.weighing import Weighing

OLIVE = Available("olive", "keeper", knows=frozenset({"x"}), interested_in=frozenset({"x"}))


def ahead(candidate, today, *later) -> dict[tuple[str, str], TwoChecks]:
    weighing = Weighing.of(candidate, LATER, EMPTY, DEFAULT_POLICY, PARAMETERS)
    return dict(look_ahead(weighing, every_check(weighing, today), today, later)[1])


def two_probings(candidate, first=ANYONE, second=ANYONE):
    """By keepers who can do nothing else."""
    only = frozenset({"probing"})
    pairs = ahead(candidate, [replace(first, methods=only)], replace(second, methods=only))
    return pairs.get(("probing", first.examiner))


# --- against the world the model describes --------------------------------------------------


def test_two_blind_keepers_as_drawn_by_chance():
    """20,000 ball pythons drawn cause by cause, with every depth as it falls, each judged by the
    rule: two who agree, neither of whom knew."""
    draws = 20_000
    two = two_probings(animal_of())
    found = [_label(*calls) for calls in _drawn(draws)]
    for share, labels in ((two.verified, ("verified",)), (two.probable, ("verified", "probable"))):
        drawn = sum(label.startswith(labels) for label in found) / draws
        assert share == pytest.approx(drawn, abs=4 * (share * (1 - share) / draws) ** 0.5)
    assert 0.7 < two.verified < 0.9


def _drawn(draws):
    """Of each animal, what two keepers see and say: the causes as MODEL.md draws them."""
    dice, numbers = np.random.default_rng(1), PARAMETERS.base.value
    one = session_error(call("male", probed(9, 9)), PARAMETERS.base, EMPTY, PARAMETERS)
    lasting = numbers("error.lasting_share")
    fell, says = _depths()

    def flipped(sex, if_male, if_female):
        return sex ^ (dice.random(draws) < np.where(sex == 0, if_male, if_female))

    sex = flipped(dice.integers(2, size=draws), *(numbers(f"mislead.probing.{s}") for s in _SEXES))
    sex = flipped(sex, *[numbers("species.published") / 2] * 2)
    sex = flipped(sex, *[numbers("identity.confirmed")] * 2)
    seen = []
    for _ in range(2):
        own = flipped(sex, *(lasting * error for error in one))
        own = flipped(own, *((1 - lasting) * error for error in one))
        pairs = [dice.choice(61 * 61, size=draws, p=fell[n]) for n in (0, 1)]
        seen.append(np.where(own == 0, *pairs))
    for first, second in zip(*seen, strict=True):
        yield (int(first), says[first]), (int(second), says[second])


_SEXES = ("male", "female")


def _depths():
    """The chance of every pair of depths in each sex, and what an examiner says of it."""
    plain = {name: n for name, n in PARAMETERS.base.numbers.items() if name != "depth.held"}
    chances, says = ([], []), []
    for left, right in product(range(61), repeat=2):
        seen = probed(left / 2, right / 2)
        raw, held = (
            max(
                (reading(call(sex, seen), BALL, numbers).pair for sex in _SEXES),
                key=lambda pair: abs(log_ratio(pair)),
            )
            for numbers in (ParameterSet(plain), PARAMETERS.base)
        )
        for n in (0, 1):
            chances[n].append(exp(raw[n]))
        clear = abs(log_ratio(held)) > log(3)
        says.append(("male" if log_ratio(held) > 0 else "female") if clear else "undetermined")
    return [np.array(one) / sum(one) for one in chances], says


_labels = {}


def _label(*calls):
    key = tuple(sorted(calls))
    if key not in _labels:
        evidence = [
            call(says, probed(pair // 61 / 2, pair % 61 / 2), f"keeper-{n}")
            for n, (pair, says) in enumerate(key)
        ]
        case = case_of(evidence, BALL, EMPTY, PARAMETERS)
        _labels[key] = case.standing(DEFAULT_POLICY).label
    return _labels[key]


# --- by hand ----------------------------------------------------------------------------------


def test_popping_and_then_an_ultrasound_by_hand():
    """Different methods share no error, so given the sex their chances multiply."""
    only = replace(VERA, methods=frozenset({"ultrasound"}))
    pops = replace(IDA, methods=frozenset({"eversion"}))
    found = ahead(animal_of(stage="hatchling"), [pops], only)["eversion", "ida"]
    verified = 0.0
    for sets in product(_SEXES, repeat=2):
        chance = share = worst = None
        for numbers in (PARAMETERS.base, PARAMETERS.pessimistic):
            each = [
                _seen(numbers, "eversion", sets[0], "keeper"),
                _seen(numbers, "ultrasound", sets[1], "veterinarian"),
            ]
            both = [each[0][n] * each[1][n] for n in (0, 1)]
            if numbers is PARAMETERS.base:
                # What ultrasound shows of hatchling males adds up to 1.05: scaled down to one.
                chance, share = sum(both) / 2 / 1.05, both[0] / sum(both)
            else:
                worst = both[0] / sum(both)
        if sets == ("female", "female"):
            share, worst = 1 - share, 1 - worst
        verified += chance * (len(set(sets)) == 1 and share >= 0.99 and worst >= 0.95)
    assert found.verified == pytest.approx(verified, abs=1e-9)
    assert found.verified > 0.2


def _seen(numbers, method, sex, role):
    """(if male, if female): the finding, the slip, the lasting error, another animal, the
    animal itself."""
    finding = {
        ("eversion", "male"): "eversion.manual.hemipenes.hatchling",
        ("eversion", "female"): "eversion.manual.nothing.hatchling",
        ("ultrasound", "male"): "ultrasound.hemipenes.hatchling",
        ("ultrasound", "female"): "ultrasound.pockets.hatchling",
    }[method, sex]
    pair = [numbers.value(f"{finding}.{s}") for s in _SEXES]
    error = _error(numbers, method, role)
    lasting = numbers.value("error.lasting_share")
    doubt = [numbers.value("identity.confirmed")] * 2
    alpha = [numbers.get(f"mislead.{method}.{s}", 0.0) for s in _SEXES]
    once, always = [(1 - lasting) * e for e in error], [lasting * e for e in error]
    for chances in (once, always, doubt, alpha):
        male, female = pair
        pair = [
            (1 - chances[0]) * male + chances[0] * female,
            (1 - chances[1]) * female + chances[1] * male,
        ]
    return pair


def _error(numbers, method, role):
    a, b = numbers.value(f"error.{role}.a"), numbers.value(f"error.{role}.b")
    mean = a / (a + b) * numbers.get(f"error_share.{method}", 1.0)
    either = numbers.get(f"wrong_or_unresolved.{method}", 0.0)
    unresolved = either * numbers.get("unresolved_share", 0.0)
    mean = max(mean, (either - unresolved) / (1 - unresolved))
    by_sex = [mean * numbers.get(f"error_by_sex.{method}.{s}", 1.0) for s in _SEXES]
    return [min(e * numbers.value("sureness.certain"), numbers.value("error.most")) for e in by_sex]


def test_a_second_check_is_expected_to_change_nothing_in_the_mean():
    """The law of total probability over two steps, and the first step as it is by itself."""
    weighing = Weighing.of(animal_of(owner()), LATER, EMPTY, DEFAULT_POLICY, PARAMETERS)
    first = weighing.follow("probing", IDA)
    leaves = [
        (p * q, case)
        for p, then in first
        for q, case in weighing.after(then, weighing.candidate, LATER).follow("ultrasound", VERA)
    ]
    assert sum(p for p, _ in leaves) == pytest.approx(1)
    for branches in (first, leaves):
        mean = sum(p * case.standing(DEFAULT_POLICY).p_male for p, case in branches)
        assert mean == pytest.approx(weighing.now.p_male, abs=0.02)


# --- what is offered ------------------------------------------------------------------------------


def test_the_owner_first_and_a_guest_after_verifies_and_not_the_other_way_round():
    """Who comes after somebody else's check and may see the record knows an answer."""
    owner_first = two_probings(animal_of(), OLIVE, ANYONE)
    assert 0.7 < owner_first.verified < 0.9
    assert not owner_first.blind
    assert two_probings(animal_of(), ANYONE, OLIVE).verified == 0
    assert two_probings(animal_of()).blind


@pytest.mark.parametrize(
    "kind", [one for one in species_list() if one.ground != "published"], ids=lambda one: one.key
)
def test_probings_alone_are_never_offered_as_if_they_verified(kind):
    two = two_probings(animal_of(taxon=kind))
    assert two.verified == 0
    said = in_words(check_by_itself(kind), two, "Ida")
    assert said == "" or "none verified" in said
    weighing = Weighing.of(two_alike(kind), LATER, EMPTY, DEFAULT_POLICY, PARAMETERS)
    (check,) = every_check(weighing, [replace(IDA, methods=frozenset({"probing"}))]).checks
    assert check.verified == 0
    assert "erified" not in check.settles.replace("none verified", "")
    assert any("never verifies its sex" in reason for reason in check.reasons)


def check_by_itself(kind):
    weighing = Weighing.of(animal_of(taxon=kind), LATER, EMPTY, DEFAULT_POLICY, PARAMETERS)
    return every_check(weighing, [replace(ANYONE, methods=frozenset({"probing"}))]).checks[0]


def two_alike(kind):
    """Probed twice by others already."""
    seen = [typical("probing", "male", kind)] * 2
    return animal_of(*(call("male", one, f"k-{n}") for n, one in enumerate(seen)), taxon=kind)


def test_between_two_checks_that_enter_the_body_a_fortnight_lies():
    two = ahead(animal_of(), [ANYONE], ANYONE)["probing", "keeper"]
    assert (two.second, two.days, two.another) == ("probing", 14, True)
    assert in_words(check_by_itself(BALL), two, "an independent keeper") == (
        "With probing by another independent keeper as well, at least 14 days later: "
        f"{100 * two.verified:.0f} in 100 verified; both would be blind."
    )
    assert in_words(check_by_itself(BALL), replace(two, verified=0, probable=0.5), "") == ""
    shed = ahead(animal_of(taxon=BOA), [replace(VERA, methods=frozenset({"ultrasound"}))], IDA)
    assert shed["ultrasound", "vera"].days == 0


def test_nobody_is_counted_on_twice():
    assert ahead(animal_of(), [IDA], IDA) == {}
    assert ahead(animal_of(), [IDA]) == {}


def test_what_only_the_first_weeks_allow_is_not_put_off():
    pops = replace(ANYONE, methods=frozenset({"eversion"}))
    assert ahead(animal_of(stage="hatchling"), [IDA], pops) == {}


def test_where_one_check_mostly_verifies_no_second_is_looked_for():
    assert ahead(animal_of(owner()), [ANYONE], ANYONE) == {}


def test_a_popped_hatchling_is_worth_more_with_the_probing_that_follows():
    """Of corn snakes, where no probings alone verify, it is worth more than a first probing."""
    candidate = animal_of(taxon=CORN, stage="hatchling")
    weighing = Weighing.of(candidate, LATER, EMPTY, DEFAULT_POLICY, PARAMETERS)
    alone = every_check(weighing, [IDA])
    raised, pairs = look_ahead(weighing, alone, [IDA], [ANYONE])
    benefit = {check.method: check.benefit for check in alone.checks}
    more = {check.method: check.benefit for check in raised.checks}
    assert more["eversion"] == pairs["eversion", "ida"].benefit > benefit["eversion"]
    assert more["eversion"] > more["probing"]
    assert raised.checks[0].method == "eversion"


def test_an_unconfirmed_report_verifies_with_nothing():
    lab = replace(LAB, reported=True, interested_in=frozenset({"x"}))
    probes = replace(IDA, methods=frozenset({"probing"}))
    two = ahead(animal_of(taxon=BOA), [probes], lab)["probing", "ida"]
    assert (two.second, two.verified) == ("dna", 0)
    confirming = replace(lab, confirms=frozenset({"x"}))
    confirmed = ahead(animal_of(taxon=BOA), [probes], confirming)
    assert confirmed["probing", "ida"].verified > 0.5
    another = replace(lab, confirms=frozenset({"y"}))
    assert ahead(animal_of(taxon=BOA), [probes], another)["probing", "ida"].verified == 0
