"""Two checks ahead: what a check is worth as the first of two.

Everything the first may say is followed through, and from each record that it leads to everything
that the second may: nothing is sampled. Depths are gathered into classes (:mod:`outcomes`), which
moves a chance by less than 0.002 for the published depths there are.

One check alone rarely verifies a sex, so what it is worth shows with the next one. A hatchling in
which nothing everted is no more than it was, and yet a later probing that agrees verifies it.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence

from msgspec import Struct
from msgspec.structs import replace

from scalewitness.domain.methods import METHODS
from scalewitness.domain.observations import Method
from scalewitness.domain.sexing.feasible import (
    INVASIVE,
    ONLY_AT_FIRST,
    Available,
    Condition,
    planning_number,
)
from scalewitness.domain.sexing.planning import Check, Plan, best_first, every_check, kind_of
from scalewitness.domain.sexing.reasons import VERIFIED_FROM, hundred
from scalewitness.domain.sexing.weighing import Branch, Weighing

_DAY = 86_400_000
_REST = planning_number("rest", "invasive_days")
_MOSTLY = 0.5
"""A check that verifies more often than not needs no second one to show its worth (our
judgement)."""
_FIRST, _SECOND = 3, 2
"""How many first checks of an animal, and how many second ones after each, are followed through:
those worth most by themselves (our judgement: the best pair was always among them)."""
_ANOTHER = " another"


class TwoChecks(Struct, frozen=True):
    """One check and then another, by another examiner. ``days`` lie at least between them;
    ``loss_after``, ``probable`` and ``verified`` as of a `Check`, after both; ``benefit``: what
    the first adds to the second; ``another``: the second examiner is somebody else of the same
    description; ``blind``: neither knows an answer."""

    second: Method
    second_examiner: str
    days: float
    loss_after: float
    probable: float
    verified: float
    benefit: float
    another: bool
    blind: bool


Pairs = Mapping[tuple[Method, str], TwoChecks]
"""By the method and the examiner of the first."""


def look_ahead(
    weighing: Weighing, every: Plan, today: Iterable[Available], later: Sequence[Available]
) -> tuple[Plan, Pairs]:
    """Every check at what it is worth by itself or as the first of two, whichever is more; and
    the pairs. As it was where one check alone verifies the sex more often than not. ``today``: the
    examiners planned with, ``later``: those who may come another day."""
    if any(check.verified >= _MOSTLY for check in every.checks):
        return every, {}
    by_key = {by.examiner: by for by in today}
    found: dict[object, TwoChecks | None] = {}
    pairs: dict[tuple[Method, str], TwoChecks] = {}
    for check in every.checks:
        by = by_key[check.examiner]
        kind = check.method, kind_of(weighing, by)
        if kind not in found and len(found) < _FIRST:
            found[kind] = _best_second(weighing, check, by, later)
        two = found.get(kind)
        if two is not None:
            pairs[check.method, check.examiner] = two
    raised = [_raised(check, pairs.get((check.method, check.examiner))) for check in every.checks]
    return Plan(best_first(raised), every.ruled_out), pairs


def _raised(check: Check, two: TwoChecks | None) -> Check:
    return check if two is None else replace(check, benefit=max(check.benefit, two.benefit))


def in_words(check: Check, two: TwoChecks | None, who: str) -> str:
    """``who``: the second examiner, as "an independent keeper". Empty where the two would not
    settle more than the first alone."""
    if two is None:
        return ""
    if two.verified >= VERIFIED_FROM:
        what = f"{hundred(two.verified)} in 100 verified"
    elif two.probable >= check.probable + VERIFIED_FROM:
        what = f"{hundred(two.probable)} in 100 probable, none verified"
    else:
        return ""
    by = f"another {who.partition(' ')[2]}" if two.another else who
    when = f", at least {two.days:g} days later" if two.days else ""
    both = "; both would be blind" if two.blind else ""
    return f"With {METHODS[two.second].noun} by {by} as well{when}: {what}{both}."


def _best_second(
    weighing: Weighing, check: Check, first: Available, examiners: Iterable[Available]
) -> TwoChecks | None:
    """The one to which the first adds most."""
    later = _later(weighing, check.method)
    others = {by.examiner: by for by in _others(first, examiners)}
    found = [
        _both(weighing, later, (check, first), (one, others[one.examiner]))
        for one in _seconds(later, check, others)
    ]
    return max(found, key=lambda two: two.benefit, default=None)


def _later(weighing: Weighing, method: Method) -> Weighing:
    """The same record with the first check behind the animal, rested where it entered the body."""
    candidate, at = weighing.candidate, weighing.at
    examined = (*candidate.examined(), (method, at))
    condition = replace(candidate.condition, examined=examined)
    if method in INVASIVE:
        condition, at = Condition(examined=examined), at + round(_REST * _DAY)
    return weighing.after(weighing.case, replace(candidate, condition=condition), at)


def _others(first: Available, examiners: Iterable[Available]) -> Iterator[Available]:
    for by in examiners:
        if by.examiner != first.examiner:
            yield by
        elif by.anyone:
            yield replace(by, examiner=by.examiner + _ANOTHER)


def _seconds(later: Weighing, check: Check, others: Mapping[str, Available]) -> Iterable[Check]:
    """One of each kind; what only a snake's first weeks allow is not put off."""
    found: dict[object, Check] = {}
    for one in every_check(later, others.values()).checks:
        if check.method not in INVASIVE or one.method not in ONLY_AT_FIRST:
            found.setdefault((one.method, kind_of(later, others[one.examiner])), one)
    return list(found.values())[:_SECOND]


Made = tuple[Check, Available]


def _both(weighing: Weighing, later: Weighing, first: Made, second: Made) -> TwoChecks:
    (check, _), (one, then_by) = first, second
    outlook = weighing.outlook(_followed(weighing, later, first, second))
    more = one.loss_after - outlook.loss
    more += planning_number("worth", "verified") * (outlook.verified - one.verified)
    return TwoChecks(
        second=one.method,
        second_examiner=then_by.examiner.removesuffix(_ANOTHER),
        days=_REST if {check.method, one.method} <= INVASIVE else 0,
        loss_after=outlook.loss,
        probable=outlook.probable,
        verified=outlook.verified,
        benefit=check.stake * more - check.burden - check.cost,
        another=then_by.examiner.endswith(_ANOTHER),
        blind=check.blind and one.blind,
    )


def _followed(weighing: Weighing, later: Weighing, first: Made, second: Made) -> Iterator[Branch]:
    (check, by), (one, then_by) = first, second
    for chance, case in weighing.follow(check.method, by):
        then = later.after(case, later.candidate, later.at)
        for next_chance, next_case in then.follow(one.method, then_by):
            yield chance * next_chance, next_case
