"""How often who is said to be blind, and who knew, repeat what was concluded before."""

from decimal import Decimal
from itertools import product
from math import exp, log

import numpy as np
import pytest
from msgspec.structs import replace
from scipy import optimize
from tests.domain.sexing.builders import call, standing
from tests.domain.sexing.learning.settled import THIRD, by_name, many, seen

from scalewitness.domain.sexing.evidence import other
from scalewitness.domain.sexing.learning.following import (
    CheckedAnimal,
    Share,
    Trial,
    learn_following,
)
from scalewitness.domain.sexing.learning.learn import learn
from scalewitness.domain.sexing.learning.numbers import LearnedNumber, with_learned
from scalewitness.domain.sexing.learning.settled import Look, SettledAnimal
from scalewitness.domain.sexing.records import EMPTY
from scalewitness.domain.sexing.sessions import Weigher
from scalewitness.domain.sexing.tables import table
from scalewitness.domain.sexing.taxa import taxon

pytestmark = pytest.mark.one_in(3)

RULES = table("learning.toml")
BLIND, KNOWING = "blind.followed", "followed"
KINDS = {"python_regius": taxon("python_regius")}
KAPPA = 1 - 0.291 / 0.572
"""How often one who knew an answer repeats it by the mammograms the model goes by."""


def drawn(
    number, *, wrong=0.08, follow=0.0, knowing=0, together=0.0, repeat=KAPPA, seed=1, homes=60
):
    """Settled animals that somebody scanned and then somebody else probed, both blind, and so many
    did who knew. ``follow``: how often the second blind one repeats the first;
    ``together``: of how many animals all who knew did; else each does as often as ``repeat``
    says."""
    rng = np.random.default_rng(seed)
    return [_one(rng, wrong, follow, knowing, together, repeat, homes) for _ in range(number)]


def _one(rng, wrong, follow, knowing, together, repeat, homes):
    truth = ("male", "female")[rng.integers(2)]

    def own():
        return other(truth) if rng.random() < wrong else truth

    who = [f"keeper-{n}" for n in rng.choice(300, size=2 + knowing, replace=False)]
    first = own()
    second = first if rng.random() < follow else own()
    calls = [_call(who[0], first, "ultrasound"), _call(who[1], second)]
    all_follow = rng.random() < together
    for name in who[2:]:
        knew = calls[-1].conclusion
        said = knew if all_follow or rng.random() < repeat else own()
        calls.append(_call(name, said, blind=False, anchored_to=knew))
    home = f"home-{rng.integers(homes)}"
    return SettledAnimal("python_regius", truth, home, tuple(calls))


def _call(who, said, method="probing", **about):
    return call(said, seen(said, method), who, **about)


# --- those said to be blind -----------------------------------------------------------------


def test_it_is_learned_how_often_blind_calls_were_not():
    follow = 0.3
    found = by_name(learn(drawn(1500, wrong=0.15, follow=follow), THIRD))[BLIND]
    assert float(found.value) == pytest.approx(follow, abs=0.05)
    assert float(found.low) < follow < float(found.high)


@pytest.mark.parametrize("seed", range(2))
def test_where_blind_calls_are_blind_nothing_is_learned_of_it(seed):
    assert BLIND not in by_name(learn(drawn(1500, seed=seed), THIRD))


def test_a_misleading_animal_is_not_taken_for_one_who_was_told():
    """All of its checks are wrong by the same method, and nobody told anybody."""
    found = by_name(learn(many(2500, wrong=0.06, mislead=0.04, checks=2), THIRD))
    assert BLIND not in found
    assert found["mislead.probing.male"].value > THIRD.base.value("mislead.probing.male")


def test_whoever_followed_is_not_taken_for_one_whom_the_animal_misled():
    """Three blind checks, of which the second and the third often repeat the one before."""
    animals = [_chain(n, np.random.default_rng(n)) for n in range(1500)]
    found = by_name(learn(animals, THIRD))
    assert float(found[BLIND].value) == pytest.approx(0.4, abs=0.07)
    for sex in ("male", "female"):
        assert float(found[f"mislead.probing.{sex}"].value) < 0.012


def _chain(number, rng):
    truth = ("male", "female")[number % 2]
    said = []
    for _ in range(3):
        own = other(truth) if rng.random() < 0.1 else truth
        said.append(said[-1] if said and rng.random() < 0.4 else own)
    who = [f"keeper-{n}" for n in rng.choice(300, size=3, replace=False)]
    methods = ("ultrasound", "probing", "probing")
    calls = tuple(_call(*one) for one in zip(who, said, methods, strict=True))
    return SettledAnimal("python_regius", truth, f"home-{rng.integers(150)}", calls)


def test_the_same_is_learned_however_animals_and_checks_are_listed():
    animals = drawn(600, follow=0.4, knowing=1)
    turned = [type(one)(one.species, one.sex, one.collection, one.checks[::-1]) for one in animals]
    assert learn(animals, THIRD) == learn(turned[::-1], THIRD)


def test_what_whoever_proved_it_had_said_was_heard_and_tells_nothing_itself():
    """A call that repeats theirs may have followed; theirs is no trial of anything."""
    animals = drawn(600, follow=0.4)
    proved = [
        SettledAnimal(one.species, one.sex, one.collection, one.checks, (one.checks[1].examiner,))
        for one in animals
    ]
    assert BLIND in by_name(learn(animals, THIRD))
    assert learn_following(proved, KINDS, THIRD, THIRD).blind == ()
    told = [
        SettledAnimal(one.species, one.sex, one.collection, one.checks, (one.checks[0].examiner,))
        for one in animals
    ]
    (found,) = learn_following(told, KINDS, THIRD, THIRD).blind
    assert found.examiners > 5


def test_nothing_is_learned_where_depths_rest_on_little():
    """A species that is not as held deceives everybody alike."""
    animals = [
        SettledAnimal("morelia_viridis", one.sex, one.collection, one.checks)
        for one in drawn(600, follow=0.4, knowing=1)
    ]
    found = learn_following(animals, {"morelia_viridis": taxon("morelia_viridis")}, THIRD, THIRD)
    assert (found.blind, found.knowing) == ((), ())


# --- those who knew -------------------------------------------------------------------------


@pytest.mark.parametrize(("together", "learned"), [(0.0, 0.1), (0.25, 0.25), (0.6, 0.45)])
def test_it_is_learned_of_how_many_animals_all_who_knew_followed(together, learned):
    """A little of what was held before remains."""
    animals = drawn(800, wrong=0.15, knowing=3, together=together)
    (found,) = learn_following(animals, KINDS, THIRD, THIRD).knowing
    assert float(found.value) == pytest.approx(learned, abs=0.07)
    assert found.low < found.value < found.high


def test_they_are_never_learned_to_weigh_more_than_fifty_to_one(monkeypatch):
    """However sure it is that nobody followed, and however little was held before."""
    monkeypatch.setitem(RULES["weight"][KNOWING], "value", Decimal("0.01"))
    animals = drawn(400, wrong=0.15, knowing=3, repeat=0.0)
    (found,) = learn_following(animals, KINDS, THIRD, THIRD).knowing
    assert (found.value, found.low) == (Decimal("0.02"), Decimal("0.02"))


@pytest.mark.parametrize("sex", ["male", "female"])
def test_ten_who_knew_never_verify_after_one_blind_check_by_any_learned_share(sex):
    least = LearnedNumber(KNOWING, *(Decimal("0.02"),) * 3, 900, 900, 90, 90)
    numbers = with_learned(THIRD, [least])
    knew = {"blind": False, "anchored_to": sex}
    calls = [_call("guest", sex), *(_call(f"keeper-{n}", sex, **knew) for n in range(10))]
    found = standing(*calls, parameters=numbers)
    assert found.label == f"probable {sex}"
    assert "needs_second_examiner" in found.reasons
    sign = 1 if sex == "male" else -1
    weights = [sign * one.log10_lr for one in found.weights]
    alone = log(found.p_male / (1 - found.p_male)) / log(10) * sign - weights[0]
    assert 0 < alone < log(50) / log(10)


# --- by hand --------------------------------------------------------------------------------


def _trials(likelier):
    of = SettledAnimal("python_regius", "male", "h", ())
    return [
        Trial(
            (Look(n, SettledAnimal(of.species, of.sex, f"h{n}", ()), _call(f"k{n}", "male")),),
            x,
            True,
        )
        for n, x in enumerate(likelier)
    ]


def test_the_share_is_the_mode_of_a_search_over_all_shares():
    likelier = [*np.linspace(-3, 2, 60), *[2.5] * 12]
    a, b = 5.0, 15.0

    def depth(x):
        return -(sum(log(1 - x + x * exp(one)) for one in likelier) + a * log(x) + b * log(1 - x))

    expected = optimize.brute(lambda x: depth(float(x[0])), [(0.001, 0.999, 0.0005)])
    found = Share(_trials(likelier), (a, b), KNOWING)
    assert found.likeliest == pytest.approx(float(expected[0]), abs=1e-4)
    value, low, high = found.estimate()
    for end in (low, high):  # half the 95 % point of chi-squared below the top
        assert depth(end) - depth(value) == pytest.approx(1.92073, abs=1e-3)


def test_a_trial_is_the_chance_of_what_was_said_if_it_was_followed():
    """Two checks, all by hand, for each way to agree."""
    wrong_proof = float(RULES["proof"]["wrong"]["value"])
    for truth, first, second in product(("male", "female"), repeat=3):
        one = SettledAnimal(
            "python_regius", truth, "h", (_call("a", first, "ultrasound"), _call("b", second))
        )
        chances = _by_hand(one)
        straight, followed = (
            (1 - wrong_proof) * chances[truth][n] + wrong_proof * chances[other(truth)][n]
            for n in (0, 1)
        )
        (trial,) = _blind_trials(one)
        assert trial.likelier == pytest.approx(log(followed / straight), rel=1e-9)


def _blind_trials(one):
    weigher = Weigher(KINDS["python_regius"], EMPTY, THIRD, THIRD.base)
    return list(CheckedAnimal(0, one, weigher).blind())


def _by_hand(one):
    """For either sex the chance of both checks: had the second not followed, and had it."""
    weigher = Weigher(KINDS["python_regius"], EMPTY, THIRD, THIRD.base)
    lasting, doubt = THIRD.base.value("error.lasting_share"), THIRD.base.value("species.published")
    weighed = [weigher.weigh(check) for check in one.checks]
    sexes = ("male", "female")

    def turned(of, share):
        return {s: (1 - share[s]) * of[s] + share[s] * of[other(s)] for s in sexes}

    def both(of):
        return dict.fromkeys(sexes, of)

    def checked(w, followed):
        epsilon = dict(zip(sexes, w.epsilon, strict=True))
        said = {s: exp(p) for s, p in zip(sexes, w.reading.pair, strict=True)}
        said = turned(said, {s: (1 - lasting) * epsilon[s] for s in sexes})
        if followed:
            said = both(said[one.checks[0].conclusion])
        return turned(said, {s: lasting * epsilon[s] for s in sexes})

    found = {}
    for n, followed in enumerate((False, True)):
        each = [checked(weighed[0], False), checked(weighed[1], followed)]
        for w, which in zip(weighed, (0, 1), strict=True):
            each[which] = turned(each[which], both(w.doubt))
            each[which] = turned(each[which], both(doubt / 2 if which else 0.0))
            each[which] = turned(each[which], dict(zip(sexes, w.alpha, strict=True)))
        for s in sexes:
            found.setdefault(s, [0.0, 0.0])[n] = each[0][s] * each[1][s]
    return found


def test_what_rests_on_one_account_is_no_more_than_chance():
    """However likely it makes it. Another's is left out in turn."""
    rest, four = _trials([-0.4] * 60), _trials([5.0] * 4)
    same = replace(four[0].looks[0].of, collection="x")
    one = [trial._replace(looks=(trial.looks[0]._replace(of=same),)) for trial in four]
    share = Share([*rest, *one], (0.0, 10.0), BLIND)
    assert share.height(share.likeliest) - share.height(1e-9) > 1.4
    assert share.gain < 0
    spread = Share([*rest, *four], (0.0, 10.0), BLIND)
    assert spread.gain > 0.5


# --- one account ----------------------------------------------------------------------------


def _fabricated(number=300):
    """In one home, by a cheat and fifty helpers: the second always repeats what the first got
    wrong, though said to be blind, and so do three who knew."""
    for n in range(number):
        truth = ("male", "female")[n % 2]
        lie = other(truth)
        knew = {"blind": False, "anchored_to": lie}
        calls = [_call("cheat", lie, "ultrasound"), _call(f"helper-{n % 50}", lie)]
        calls += [_call(f"helper-{(n + m) % 50}", lie, **knew) for m in (1, 2, 3)]
        yield SettledAnimal("python_regius", truth, "home-of-the-cheat", tuple(calls))


def test_one_account_teaches_nobody_that_blind_calls_are_not():
    honest = drawn(700, knowing=1)
    before = by_name(learn(honest, THIRD))
    after = by_name(learn([*honest, *_fabricated()], THIRD))
    assert BLIND not in before
    assert BLIND not in after
    assert abs(after[KNOWING].value - before[KNOWING].value) < 0.1


def test_one_account_moves_what_was_learned_little():
    honest = drawn(1000, follow=0.3, knowing=1)
    before = by_name(learn(honest, THIRD))[BLIND]
    after = by_name(learn([*honest, *_fabricated()], THIRD))[BLIND]
    assert abs(after.value - before.value) < 0.05
