"""Animals that moved together: mixed-up labels, a missexed animal, or a wrong later call."""

from itertools import permutations, product
from math import exp, log, prod, sqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from tests.domain.sexing.builders import BALL, CORN, DAY, call, female, male
from tests.domain.sexing.strategies import calls as any_call

from scalewitness.domain.observations import Ultrasound
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.records import EMPTY
from scalewitness.domain.sexing.sessions import Weigher
from scalewitness.domain.sexing.swaps import (
    Traveller,
    WeightReading,
    _derangements,
    swaps,
)

SECOND = load_parameters("sexing-2")
THETA = sqrt(0.002)
CODES = [f"98200000000000{n}" for n in range(10)]


def _swaps(*group, **other):
    return swaps(group, EMPTY, SECOND, **other)


def _shares(found):
    return {(one.kind, one.labels, one.really): one.share for one in found.explanations}


def vet(conclusion, examiner, **other):
    seen = Ultrasound("hemipenes" if conclusion == "male" else "pockets")
    return call(conclusion, seen, examiner, role="veterinarian", **other)


def _twice(check, *examiners):
    return tuple(check(who) for who in examiners)


def _settled(label, sex, after=(), **other):
    """Two keepers agreed on its sex before it travelled."""
    check = male if sex == "male" else female
    return Traveller(label, BALL, sex, _twice(check, "ash", "birch"), tuple(after), **other)


# --- the arithmetic, against the whole sum written out -----------------------------------


def _likelihood(sex, before, after, kind=BALL):
    """P(calls | sex) of the calls before and after on one animal."""
    weigher = Weigher(kind, EMPTY, SECOND, SECOND.base)
    sessions = weigher.sessions([weigher.weigh(one) for one in (*before, *after)])
    return exp(sum(pair[0 if sex == "male" else 1] for pair in weigher.log_likelihoods(sessions)))


def _whole_sum(group):
    """Every permutation times every choice of true sexes, by brute force."""
    weights = {}
    for order in permutations(range(len(group))):
        for sexes in product(("male", "female"), repeat=len(group)):
            moved = sum(i != j for i, j in enumerate(order))
            chance = prod(
                0.5 * _likelihood(sexes[j], group[j].before, group[i].after)
                for i, j in enumerate(order)
            )
            weights[order, sexes] = THETA**moved * chance
    whole = sum(weights.values())
    return {key: weight / whole for key, weight in weights.items()}


GROUP = (
    _settled("a", "male", [female("cedar")]),
    _settled("b", "female", [male("cedar")]),
    _settled("c", "female", [vet("female", "vera")]),
)


def test_shares_are_those_of_the_whole_sum():
    found, whole = _shares(_swaps(*GROUP)), _whole_sum(GROUP)
    still, said = (0, 1, 2), ("male", "female", "female")
    assert found["later_call_wrong", ("a", "b"), ()] == pytest.approx(whole[still, said])
    missexed = whole[still, ("female", "female", "female")]
    assert found["missexed", ("a",), ()] == pytest.approx(missexed)
    several = sum(
        share
        for (order, sexes), share in whole.items()
        if order == still and sum(s != t for s, t in zip(sexes, said, strict=True)) > 1
    )
    assert found["several_missexed", (), ()] == pytest.approx(several)
    exchanged = sum(share for (order, _), share in whole.items() if order == (1, 0, 2))
    assert found["exchanged", ("a", "b"), ("b", "a")] == pytest.approx(exchanged)
    rotated = sum(share for (order, _), share in whole.items() if order == (1, 2, 0))
    assert found["mixed_up", ("a", "b", "c"), ("b", "c", "a")] == pytest.approx(rotated)
    assert len(found) == 1 + 3 + 1 + 5


def test_without_anything_seen_afterwards_the_prior_stands():
    """One exchange in five hundred for a pair (our judgement)."""
    found = _shares(_swaps(*(_settled(label, "male") for label in "ab")))
    exchanged = found["exchanged", ("a", "b"), ("b", "a")]
    assert exchanged / (1 - exchanged) == pytest.approx(0.002)


@settings(max_examples=40)
@given(st.lists(st.lists(any_call(), max_size=3), min_size=2, max_size=8), st.randoms())
def test_shares_sum_to_one_and_do_not_depend_on_the_order(drawn, random):
    group, position = [], 0
    for n, calls in enumerate(drawn):
        numbered = []
        for one in calls:
            position += 1
            numbered.append(replace(one, call=f"call-{position}", position=position))
        group.append(Traveller(f"l{n}", BALL, ("male", "female", None)[n % 3], (), tuple(numbered)))
    found = _swaps(*group)
    total = sum(one.share for one in found.explanations)
    assert total + (0 if found.bounded else found.discarded) == pytest.approx(1)
    again = _swaps(*random.sample(group, len(group)))
    assert _comparable(again) == pytest.approx(_comparable(found), abs=1e-9)


def _comparable(found):
    return {
        (one.kind, frozenset(zip(one.labels, one.really or one.labels, strict=True))): one.share
        for one in found.explanations
    }


# --- what happened ----------------------------------------------------------------------


def test_a_quiet_trip():
    group = [_settled("a", "male", [male("cedar")]), _settled("b", "female", [female("cedar")])]
    found = _swaps(*group)
    assert found.explanations[0].kind == "as_labelled"
    assert found.explanations[0].share > 0.99
    assert dict(found.own)["a"] > 0.999


def test_contrary_checks_of_both_speak_for_an_exchange():
    group = _party(2)
    first = _swaps(*group).explanations[0]
    assert (first.kind, first.labels) == ("exchanged", ("l00", "l01"))
    assert first.really == ("l01", "l00")
    assert first.share > 0.9


def test_one_slip_each_is_about_as_likely_as_an_exchange():
    """A keeper wrong twice, 0.05² and the depths, against one exchange in five hundred."""
    group = [_settled("a", "male", [female("cedar")]), _settled("b", "female", [male("cedar")])]
    found = _shares(_swaps(*group))
    exchanged, slips = (
        found["exchanged", ("a", "b"), ("b", "a")],
        found["later_call_wrong", ("a", "b"), ()],
    )
    assert 0.3 < exchanged / slips < 3


def test_one_contrary_check_among_animals_of_one_sex_is_no_exchange():
    group = [_settled("a", "male", [female("cedar")]), _settled("b", "male", [male("cedar")])]
    found = _swaps(*group)
    assert found.explanations[0].kind == "later_call_wrong"
    assert found.explanations[0].labels == ("a",)
    assert _shares(found)["exchanged", ("a", "b"), ("b", "a")] < 0.01


def test_a_weak_early_call_and_strong_later_ones_mean_missexed():
    early = Traveller(
        "a", BALL, "male", (male("ash", blind=False),), (vet("female", "vera"), female("cedar"))
    )
    found = _swaps(early, _settled("b", "male", [male("cedar")]))
    assert (found.explanations[0].kind, found.explanations[0].labels) == ("missexed", ("a",))


def test_a_rotation_of_three():
    group = [
        _settled("a", "male", [female("cedar")], code=CODES[0], reads=(CODES[1],)),
        _settled("b", "female", [female("cedar")], code=CODES[1], reads=(CODES[2],)),
        _settled("c", "female", [male("cedar")], code=CODES[2], reads=(CODES[0],)),
    ]
    first = _swaps(*group).explanations[0]
    assert (first.kind, first.labels, first.really) == (
        "mixed_up",
        ("a", "b", "c"),
        ("b", "c", "a"),
    )
    assert first.share > 0.99


def test_one_code_read_on_another_label_is_worth_its_odds():
    """Without calls: exchanged against not, 0.002 · (0.999/0.0005)."""
    group = [
        Traveller("a", BALL, code=CODES[0], reads=(CODES[1],)),
        Traveller("b", BALL, code=CODES[1]),
    ]
    found = _shares(_swaps(*group))
    odds = found["exchanged", ("a", "b"), ("b", "a")] / found["as_labelled", (), ()]
    assert odds == pytest.approx(0.002 * 0.999 / (0.001 / 2))


def test_the_right_code_on_each_label_clears_them():
    group = [
        _settled("a", "male", [female("cedar")], code=CODES[0], reads=(CODES[0],)),
        _settled("b", "female", [male("cedar")], code=CODES[1], reads=(CODES[1],)),
    ]
    found = _swaps(*group)
    assert _shares(found)["exchanged", ("a", "b"), ("b", "a")] < 1e-3
    assert found.explanations[0].kind in {"later_call_wrong", "several_missexed", "missexed"}


def test_a_code_nobody_had_says_nothing_between_animals_without_one():
    plain = [_settled("a", "male"), _settled("b", "female")]
    new = [replace(plain[0], reads=("982000000000099",)), plain[1]]
    assert _comparable(_swaps(*new)) == pytest.approx(_comparable(_swaps(*plain)))


@pytest.mark.parametrize("answer", ["another", "same"])
def test_photos_of_a_later_check_speak_for_or_against_an_exchange(answer):
    def exchanged(compared):
        seen = [male("cedar", compared=compared)]
        group = [_settled("a", "male", seen), _settled("b", "female")]
        return _shares(_swaps(*group))["exchanged", ("a", "b"), ("b", "a")]

    told = exchanged(answer) / (1 - exchanged(answer))
    untold = exchanged(None) / (1 - exchanged(None))
    odds = 0.95 / 0.05 if answer == "another" else 0.05 / 0.95
    assert told / untold == pytest.approx(odds, rel=0.2)


def test_a_call_made_on_another_code_counts_for_whoever_bore_the_label():
    silenced = female("cedar", identity="mismatch")
    group = [_settled("a", "male", [silenced]), _settled("b", "female")]
    found = _shares(_swaps(*group))
    assert found["exchanged", ("a", "b"), ("b", "a")] > 0.01


def _weighings(grams_a, grams_b, days=30):
    return [
        Traveller(
            label,
            BALL,
            weight_before=WeightReading(before, 0),
            weight_after=WeightReading(after, days * DAY),
        )
        for label, before, after in (("a", 1500.0, grams_a), ("b", 600.0, grams_b))
    ]


def test_weights_by_hand():
    found = _shares(_swaps(*_weighings(650, 1450)))
    sd = sqrt(0.05**2 + 0.012**2 * 30)

    def density(before, after):
        z = (log(after) - log(before)) / sd
        return 0.95 * exp(-z * z / 2) / (sd * sqrt(2 * 3.141592653589793)) + 0.05 / 6

    odds = 0.002 * density(600, 650) * density(1500, 1450)
    odds /= density(1500, 650) * density(600, 1450)
    exchanged = found["exchanged", ("a", "b"), ("b", "a")]
    assert exchanged / (1 - exchanged) == pytest.approx(odds)
    assert exchanged > 0.9


def test_weights_that_fit_their_labels_clear_them():
    assert _shares(_swaps(*_weighings(1450, 650)))["exchanged", ("a", "b"), ("b", "a")] < 1e-5


def test_different_species_are_not_exchanged():
    group = [_settled("a", "male"), replace(_settled("b", "male"), taxon=CORN)]
    assert {one.kind for one in _swaps(*group).explanations}.isdisjoint({"exchanged", "mixed_up"})


def test_an_animal_of_unknown_sex_is_not_missexed():
    found = _swaps(Traveller("a", BALL, None, (), (male("cedar"),)), _settled("b", "male"))
    assert ("missexed", ("a",), ()) not in _shares(found)
    assert found.explanations[0].kind == "as_labelled"


def test_a_label_travels_once():
    with pytest.raises(ValueError, match="twice"):
        _swaps(_settled("a", "male"), _settled("a", "female"))


def test_nobody_travelled():
    found = _swaps()
    assert [one.kind for one in found.explanations] == ["as_labelled"]
    assert found.explanations[0].share == 1


# --- larger groups ----------------------------------------------------------------------


def _party(size, swapped=((0, 1),)):
    """Males and females in turn; each label checked afterwards, some exchanged."""
    order = list(range(size))
    for one, two in swapped:
        order[one], order[two] = order[two], order[one]
    sexes = ["male" if n % 2 else "female" for n in range(size)]
    checks = {"male": male, "female": female}
    return [
        _settled(f"l{n:02}", sexes[n], [checks[now]("cedar"), vet(now, "vera")])
        for n, now in enumerate(sexes[place] for place in order)
    ]


def test_what_is_left_aside_is_exactly_what_the_whole_sum_has_more():
    group = _party(6, ((0, 1), (2, 3)))
    every, some = _swaps(*group), _swaps(*group, exact_up_to=3)
    assert (every.discarded, every.discarded_prior, every.bounded) == (0, 0, False)
    missing = sum(
        one.share for one in every.explanations if one.kind == "mixed_up" and len(one.labels) > 3
    )
    assert some.discarded == pytest.approx(missing)
    assert not some.bounded
    assert some.discarded > 0.5  # two exchanges at once: not followed, and said to be so
    kept = _shares(some)
    for key, share in _shares(every).items():
        assert kept.get(key, share) == pytest.approx(share)


@pytest.mark.parametrize("swapped", [(), ((0, 1),), ((0, 1), (2, 3))])
def test_the_bound_bounds(swapped):
    group = _party(7, swapped)
    exact, bound = _swaps(*group), _swaps(*group, counted_up_to=3)
    assert bound.bounded
    assert not exact.bounded
    assert exact.discarded <= bound.discarded + 1e-12
    for one, least in zip(exact.explanations, bound.explanations, strict=True):
        assert least.share <= one.share + 1e-12


def test_a_large_group_with_one_exchange():
    found = _swaps(*_party(20))
    assert found.bounded
    assert (found.explanations[0].kind, found.explanations[0].labels) == (
        "exchanged",
        ("l00", "l01"),
    )
    own = dict(found.own)
    assert own["l00"] < 0.5 < own["l07"]


def test_prior_weight_of_what_is_not_followed():
    found = _swaps(*(Traveller(f"l{n}", BALL) for n in range(7)))
    by_moves = {0: 1.0, 1: 0.0, 2: 0.0, 3: 0.0}
    beyond = 0.0
    for order in permutations(range(7)):
        moved = sum(i != j for i, j in enumerate(order))
        if moved > 3:
            beyond += THETA**moved
        elif moved:
            by_moves[moved] += THETA**moved
    prior = beyond / (beyond + sum(by_moves.values()))
    assert found.discarded_prior == pytest.approx(prior)
    assert found.discarded == pytest.approx(prior)  # nothing was seen


def test_derangements():
    """Known values, OEIS A000166."""
    assert [_derangements(k) for k in range(9)] == [1, 0, 1, 2, 9, 44, 265, 1854, 14833]
