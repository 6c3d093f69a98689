"""Version 3 against all its causes drawn one by one, and how far each can carry."""

from decimal import Decimal
from itertools import product
from math import exp

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.domain.sexing.builders import BALL, HOUR, call, female, male, probed, standing

from scalewitness.domain.observations import (
    Dna,
    Endoscopy,
    Eversion,
    Hearsay,
    Parentage,
    Reproduction,
    Ultrasound,
)
from scalewitness.domain.sexing.case import SupposedCase, case_of
from scalewitness.domain.sexing.learning.numbers import LearnedNumber, with_learned
from scalewitness.domain.sexing.likelihood import log_ratio, total
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.policy import DEFAULT_POLICY
from scalewitness.domain.sexing.records import EMPTY, session_error
from scalewitness.domain.sexing.sessions import Weigher
from scalewitness.domain.sexing.taxa import taxon

pytestmark = pytest.mark.one_in(2)

THIRD = load_parameters("sexing-3")
BASE = THIRD.base
SEXES = ("male", "female")


def _weigher(kind=BALL, numbers=THIRD):
    return Weigher(kind, EMPTY, numbers, numbers.base)


def _odds(*calls, kind=BALL, numbers=THIRD):
    """Male over female, as the program has it."""
    weigher = _weigher(kind, numbers)
    sessions = weigher.sessions(weigher.weigh_all(calls))
    return exp(log_ratio(total(weigher.log_likelihoods(sessions))))


def _standing(*calls, **other):
    return standing(*calls, parameters=THIRD, **other)


def _known(sex):
    return {"blind": False, "anchored_to": sex}


# --- every cause drawn, independently of how the program sums them --------------------------


def _drawn(*calls, kind=BALL, numbers=THIRD):
    """Male over female by summing over every way in which the causes may have fallen, each
    call an occasion of its own."""
    weigher = _weigher(kind, numbers)
    causes = {name: chance for one in calls for name, chance in _causes(one, weigher).items()}
    if numbers is not THIRD:
        causes |= {("repeats", one.call): (UNBLIND,) * 2 for one in calls if _told(one, calls)}
    chances = [0.0, 0.0]
    for fallen in product((False, True), repeat=len(causes)):
        at_work = dict(zip(causes, fallen, strict=True))
        for n, sex in enumerate(SEXES):
            chances[n] += _World(causes, at_work).chance(calls, sex, weigher)
    return chances[0] / chances[1]


def _causes(one, weigher):
    """Name and chance (if male is shown to it, if female) of all that may be at work."""
    weighed = weigher.weigh(one)
    lasting = BASE.value("error.lasting_share")
    epsilon = session_error(one, BASE, EMPTY, THIRD)
    of_parents = ".parentage" if one.method == "parentage" else ""
    mistaken = BASE.value(f"report.mistaken{of_parents}") if one.report == "confirmed" else 0.0
    found = {("animal", one.method): weighed.alpha}
    if weighed.species:
        doubt = BASE.value(weighed.species)
        found["species", one.method] = (doubt / 2,) * 2
    found["mixed up", one.method, one.identity] = (weighed.doubt,) * 2
    by = one.method, one.identity, one.examiner
    found["examiner", by] = tuple(lasting * e for e in epsilon)
    if weighed.kappa:
        found["repeats", one.call] = (weighed.kappa,) * 2
        found["all followed"] = (BASE.value("followed"),) * 2
    found["slip", one.call] = tuple((1 - lasting) * e + mistaken for e in epsilon)
    if one.report == "unconfirmed":
        found[_report(one)] = (BASE.value(_report(one)),) * 2
    return found


def _told(one, calls):
    """What somebody else concluded last before a check that is said to be blind; checks of a
    proof, which shows what it shows, aside."""
    if not one.blind or one.method in ("endoscopy", "reproduction", "parentage"):
        return None
    before = [c for c in calls[: calls.index(one)] if c.examiner != one.examiner]
    return before[-1].conclusion if before else None


def _report(one):
    return f"report.false.{'' if one.interested else 'dis'}interested"


class _World:
    """One way in which the causes may have fallen, and what it makes of an animal."""

    def __init__(self, causes, at_work):
        self.causes, self.at_work = causes, at_work

    def chance(self, calls, sex, weigher):
        """The chance of these causes and of what was then seen."""
        self.met, self.weight = set(), 1.0
        for one in calls:
            shown = self._shown(one, sex, list(_causes(one, weigher)), _told(one, calls))
            if self._falls(("slip", one.call), shown):
                shown = _other(shown)
            self.weight *= exp(weigher.weigh(one).reading.pair[SEXES.index(shown)])
        for name in self.causes.keys() - self.met:  # what met nothing may have fallen either way
            self._falls(name, sex)
        return self.weight

    def _shown(self, one, sex, own, told):
        """The sex whose picture this check has before it, its own slip aside."""
        if "all followed" in own and self._falls("all followed", sex):
            return one.anchored_to
        if one.report == "unconfirmed" and self._falls(_report(one), sex):
            return one.conclusion
        shown = sex
        for name in own:
            if name[0] in ("animal", "species", "mixed up", "examiner"):
                shown = _other(shown) if self._falls(name, shown) else shown
        if ("repeats", one.call) in self.causes and self._falls(("repeats", one.call), sex):
            return one.anchored_to or told
        return shown

    def _falls(self, name, shown):
        if name not in self.met:
            self.met.add(name)
            p = self.causes[name][SEXES.index(shown)]
            self.weight *= p if self.at_work[name] else 1 - p
        return self.at_work[name]


def _other(sex):
    return SEXES[1 - SEXES.index(sex)]


TAG = {"identity": "tub_tag"}
RECORDS = {
    "one": [male()],
    "two agree": [male("ash"), male("birch")],
    "two differ": [male("ash"), female("birch")],
    "the same examiner again": [female("ash"), female("ash", **_known("female"))],
    "three, one of whom knew": [female("ash"), male("birch"), female("cob", **_known("female"))],
    "who knew disagrees": [female("ash"), male("cob", **_known("female"))],
    "no code read by some": [male("ash", identity="unconfirmed"), male("birch")],
    "only tags of tubs read": [male("ash", **TAG), male("birch", **TAG), male("cob")],
    "two methods": [male("ash"), call("male", Ultrasound("hemipenes"), "vet", role="veterinarian")],
    "a seller's report": [
        male("ash"),
        call(
            "male", Endoscopy("testes"), "vet", role="veterinarian", report="unconfirmed",
            interested=True, blind=False,
        ),
    ],
    "a stranger's report of one who knew": [
        call(
            "female", Reproduction("laid_eggs", witnessed=True), "elm", report="unconfirmed",
            **_known("male"),
        ),
        male("ash"),
    ],
    "a confirmed report": [
        call("female", Endoscopy("ovaries"), "vet", role="veterinarian", report="confirmed"),
    ],
    "a confirmed father, once probed short": [
        female("ash"),
        call(
            "male", Parentage("sire", 4, True, True, True), "lab", role="laboratory",
            report="confirmed",
        ),
    ],
}  # fmt: skip


@pytest.mark.parametrize("calls", RECORDS.values(), ids=RECORDS.keys())
def test_the_formula_sums_over_all_causes(calls):
    assert _odds(*calls) == pytest.approx(_drawn(*calls), rel=1e-12)


UNBLIND = 0.12
NOT_BLIND = with_learned(
    THIRD,
    [LearnedNumber("blind.followed", *map(Decimal, ("0.12", "0.06", "0.2")), 900, 900, 90, 90)],
)


@pytest.mark.parametrize("calls", RECORDS.values(), ids=RECORDS.keys())
def test_it_sums_over_who_was_told_where_that_was_learned(calls):
    assert _odds(*calls, numbers=NOT_BLIND) == pytest.approx(
        _drawn(*calls, numbers=NOT_BLIND), rel=1e-12
    )


@pytest.mark.parametrize(("sex", "made"), [("male", male), ("female", female)])
def test_a_call_that_may_have_followed_weighs_no_more_than_how_often_they_do(sex, made):
    sign = 1 if sex == "male" else -1
    first, second = made("ash"), made("birch")
    alone, both = (_odds(*calls, numbers=NOT_BLIND) for calls in ([first], [first, second]))
    assert 1 < (both / alone) ** sign < 1 / UNBLIND
    again = _odds(*(made(f"keeper-{n}") for n in range(3)), numbers=NOT_BLIND)
    assert again**sign > both**sign, "each was told, or not, for themselves"


def test_whoever_contradicts_what_they_may_have_heard_weighs_as_much_as_before():
    first, second = male("ash"), female("birch")
    assert _odds(first, second, numbers=NOT_BLIND) == pytest.approx(_odds(first, second), rel=0.05)


def test_nobody_heard_anything_of_an_animal_that_nobody_had_called():
    """Nor from themselves, nor from one who came to no conclusion."""
    blank = call("undetermined", probed(9, 9), "cob")
    again = [male("ash"), male("ash")]
    for calls in ([male("ash")], [blank, male("ash")], again):
        assert _odds(*calls, numbers=NOT_BLIND) == _odds(*calls)


def test_what_is_heard_is_what_was_said_last_in_the_log():
    """Not by the time that somebody claims."""
    calls = [male("ash", at=9 * HOUR), female("birch", at=0), female("cob", at=0)]
    weighed = case_of(calls, BALL, EMPTY, NOT_BLIND).base.weighed
    assert [one.heard for one in weighed] == [None, "male", "female"]
    more = case_of(calls[:2], BALL, EMPTY, NOT_BLIND).plus(SupposedCase(calls[2]))
    assert more.base.weighed[2].heard == "female", "nor is a supposed check unheard of"
    assert more.standing(DEFAULT_POLICY) == case_of(calls, BALL, EMPTY, NOT_BLIND).standing(
        DEFAULT_POLICY
    )


def test_what_a_call_that_may_have_followed_rests_on_is_said():
    found = standing(female("ash"), female("birch"), parameters=NOT_BLIND)
    assert "repeat what was said before; this one may have" in found.weights[1].reason
    assert "repeat what was said" not in found.weights[0].reason
    used = {one.name: one for one in found.used if one.of == "base"}
    assert used["blind.followed"].status == "learned here"
    plain = standing(female("ash"), female("birch"), parameters=THIRD)
    held = {one.name: one for one in plain.used if one.of == "base"}["blind.followed"]
    assert (held.value, held.status) == (0, "our judgement")
    assert "repeat what was said" not in plain.weights[1].reason
    assert "blind.followed" not in {
        one.name for one in standing(female("ash"), parameters=THIRD).used
    }


# --- the bounds -----------------------------------------------------------------------------


@pytest.mark.parametrize(("sex", "made"), [("male", male), ("female", female)])
def test_the_same_again_in_one_sitting_changes_nothing(sex, made):
    first = made("ash", at=0)
    again = [made("ash", at=n * HOUR // 10, **_known(sex)) for n in range(1, 6)]
    one, many = _standing(first), _standing(first, *again)
    assert abs(one.p_male - many.p_male) < 1e-9
    assert abs(one.p_male_pessimistic - many.p_male_pessimistic) < 1e-9
    assert one.label == many.label


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from([(male, "male"), (female, "female")]),
    st.lists(st.integers(0, 11), min_size=10, max_size=14),
    st.booleans(),
)
def test_however_many_who_knew_verify_nothing_after_one_blind_call(sex, who, interested):
    """By themselves, by others, mixed, sellers or not."""
    made, known = sex
    later = [made(f"keeper-{n}", interested=interested, **_known(known)) for n in who]
    found = _standing(made("guest"), *later)
    assert found.label == f"probable {known}"
    assert "needs_second_examiner" in found.reasons


@pytest.mark.parametrize(("sex", "made"), [("male", male), ("female", female)])
def test_those_who_knew_weigh_no_more_than_that_all_followed(sex, made):
    sign = 1 if sex == "male" else -1
    knowing = [made(f"keeper-{n}", **_known(sex)) for n in range(40)]
    assert _odds(*knowing) ** sign < 1 / BASE.value("followed")


@pytest.mark.parametrize(("sex", "made"), [("male", male), ("female", female)])
def test_one_examiners_checks_weigh_no_more_than_their_lasting_error(sex, made):
    """Even were each made without knowing the one before."""
    sign = 1 if sex == "male" else -1
    again = [made("ash") for _ in range(40)]
    # a male read as a female speaks for a female, and the other way round
    if_other = SEXES.index("female" if sex == "male" else "male")
    epsilon = session_error(again[0], BASE, EMPTY, THIRD)[if_other]
    lasting = BASE.value("error.lasting_share") * epsilon
    assert _odds(*again) ** sign < 1 / lasting


@pytest.mark.parametrize("interested", [True, False])
def test_reports_by_whatever_method_weigh_no_more_than_that_they_are_false(interested):
    of = {"report": "unconfirmed", "interested": interested, "blind": False}
    reports = [
        call("female", Endoscopy("ovaries"), "vet", role="veterinarian", **of),
        call("female", Dna("ZW", "shed", "heterogametic"), "lab", role="laboratory", **of),
        call("female", Reproduction("laid_eggs", witnessed=True), "owner", **of),
        call("female", Ultrasound("follicles"), "other vet", role="veterinarian", **of),
    ]
    corn = taxon("pantherophis_guttatus", "sexing-3")
    false = BASE.value(_report(reports[0]))
    assert 1 / _odds(*reports, kind=corn) < 1 / false
    found = _standing(*reports, taxon=corn)
    assert found.label in ("probable female", "unsexed")
    assert not found.decisive


def test_a_confirmed_report_decides_and_a_denied_one_says_nothing():
    of = {"role": "veterinarian", "blind": False}
    confirmed = call("male", Endoscopy("testes"), "vet", report="confirmed", **of)
    denied = call("male", Endoscopy("testes"), "vet", report="denied", **of)
    assert _standing(confirmed).label == "verified male"
    assert _standing(confirmed).decisive
    found = _standing(denied)
    assert (found.label, found.p_male, found.weights[0].code) == ("unsexed", 0.5, "denied")


@pytest.mark.parametrize(
    ("ground", "most"),
    [("web page", 79), ("from memory", 33), ("in general", 16)],
)
def test_a_range_nobody_answers_for_bounds_all_probings(ground, most):
    """(2 − σ) to σ, however many look."""
    doubt = BASE.value(f"species.{ground}")
    assert (2 - doubt) / doubt == pytest.approx(most, abs=0.7)
    assert most < 99  # so never verified by probing alone


FREE = {
    "probing": probed(3, 3),
    "eversion": Eversion("manual", "nothing"),
    "ultrasound": Ultrasound("follicles"),
    "endoscopy": Endoscopy("ovaries"),
    "eggs": Reproduction("laid_eggs", witnessed=True),
    "dna": Dna("ZW", "shed", "heterogametic"),
    "young without a father": Parentage("dam_alone", 6, True, True, True),
    "statement": Hearsay("papers"),
}


@settings(max_examples=200, deadline=None)
@given(
    st.sampled_from(["python_regius", "pituophis_ruthveni", "python_bivittatus", "serpentes"]),
    st.lists(
        st.tuples(
            st.sampled_from(sorted(FREE)),
            st.sampled_from(["keeper", "veterinarian", "laboratory", "earlier_keeper"]),
            st.integers(0, 4),
            st.booleans(),
        ),
        min_size=1,
        max_size=25,
    ),
)
def test_a_seller_alone_verifies_nothing(species, tried):
    """Whatever they say they did or saw, in whosever name, as often as they like. Eggs that the
    seller alone saw are their word, as is all that somebody else is said to have found."""
    calls = []
    for name, role, who, knew in tried:
        own = role == "keeper"
        calls.append(
            call(
                "female", FREE[name], "seller" if own else f"{role} {who}", role=role,
                interested=True, blind=False, stage="hatchling",
                anchored_to="female" if knew and calls else None,
                report="own" if own and name != "eggs" else "unconfirmed",
            )
        )  # fmt: skip
    found = _standing(*calls, taxon=taxon(species))
    assert not found.label.startswith("verified")
    assert not found.decisive
