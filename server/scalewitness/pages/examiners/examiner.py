"""One examiner's record in plain words, to themself and whoever reads a call of theirs."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from scalewitness.domain.methods import METHODS
from scalewitness.domain.sexing.examiner_numbers import numbers_behind
from scalewitness.domain.sexing.examiners.drift import Drift
from scalewitness.domain.sexing.examiners.harm import HarmRate
from scalewitness.domain.sexing.examiners.posterior import Counts, ErrorRate
from scalewitness.domain.sexing.examiners.provisional import Provisional, ProvisionalRate
from scalewitness.domain.sexing.qualification import PLAN
from scalewitness.examiners.figures import (
    ExaminerKnown,
    Qualification,
    Rate,
    examiner_seen,
    reproducible,
)
from scalewitness.pages.home.titles import titles_of
from scalewitness.pages.parts.access import page, signed_in
from scalewitness.pages.plots.interval import ERROR, TOO_FEW, Estimated, intervals
from scalewitness.people.models import Keeper

LISTED = 20
"""Animals behind a figure that are named (our judgement: enough to look into)."""


@dataclass(frozen=True, slots=True)
class RateInWords:
    """One method and sex, with the settled ``animals`` behind it that its reader sees whole: id and
    title, and how many ``more`` there are."""

    heading: str
    sentences: tuple[str, ...]
    provisional: str | None
    animals: list[tuple[UUID, str]]
    more: int


@signed_in
def show_examiner(request: HttpRequest, keeper: Keeper, examiner_id: UUID) -> HttpResponse:
    known = examiner_seen(keeper.pk, examiner_id, timezone.now(), reproducible())
    methods = sorted({rate.method for rate in known.rates})
    titles = titles_of(one for rate in known.rates for one in rate.behind[:LISTED])
    context = {
        "known": known,
        "rates": [_rate(rate, titles) for rate in known.rates],
        "drawing": intervals("How often wrong", list(_estimates(known.rates)), ERROR),
        "qualifications": [qualification(one) for one in known.qualifications],
        "drift": drift_in_words(known.drift) if known.drift else None,
        "harm": [harm_in_words(METHODS[method].name, rate) for method, rate in known.harm.items()],
        "pooled": _pooled(known),
        "used": numbers_behind(known.role, methods, known.numbers.base),
        "plan": PLAN,
    }
    return page(request, "examiners/examiner.html", context)


def _pooled(known: ExaminerKnown) -> tuple[str, ...]:
    """About the pooled fit, where a rate of it is shown."""
    shown = any(rate.provisional for rate in known.rates)
    return pooled_in_words(known.provisional) if shown and known.provisional else ()


def _heading(rate: Rate) -> str:
    return f"{METHODS[rate.method].name}, {rate.sex}s"


def _rate(rate: Rate, titles: Mapping[UUID, str]) -> RateInWords:
    logged = (logged_in_words(rate.logged),) if rate.logged else ()
    estimate = rate.provisional
    return RateInWords(
        heading=_heading(rate),
        sentences=(*(logged or _unlogged(rate.seen)), *_beside(rate.seen)),
        provisional=provisional_in_words(estimate) if estimate else None,
        animals=[(one, titles[one]) for one in rate.behind[:LISTED]],
        more=max(0, len(rate.behind) - LISTED),
    )


def _estimates(rates: Iterable[Rate]) -> Iterable[Estimated]:
    """Of what is on the log; the rest is in words alone."""
    for rate in rates:
        if found := rate.logged:
            words = f"wrong about {found.mean:.1%}, between {found.low:.1%} and {found.high:.1%}"
            called = found.counts.wrong + found.counts.right
            yield Estimated(_heading(rate), called, found.mean, found.low, found.high, words)


def logged_in_words(rate: ErrorRate) -> str:
    counts = rate.counts
    called = counts.wrong + counts.right
    animals = _number(called, rate.sex)
    return (
        f"Of {animals} settled by others, {counts.right} called right and {counts.wrong} wrong, "
        f"blind. With what is assumed of anyone in this role, that makes about "
        f"{rate.mean:.1%} wrong, with 95 in 100 confidence between {rate.low:.1%} and "
        f"{rate.high:.1%}."
    )


def _unlogged(seen: Counts) -> tuple[str, ...]:
    called = seen.wrong + seen.right
    if not called:
        return ()
    animals = _number(called, "settled animal")
    return (f"Of {animals} you may see, {seen.right} called right and {seen.wrong} wrong, blind.",)


def _beside(seen: Counts) -> Iterable[str]:
    """What enters no rate, among settled animals the reader sees whole."""
    if seen.undetermined:
        yield f"Left undetermined: {seen.undetermined} of the settled animals you may see."
    if seen.knowing:
        yield (
            f"Called without being blind: {seen.knowing} of the settled animals you may see. "
            "Agreeing with a known answer proves nothing, so these count neither way."
        )


def provisional_in_words(estimate: ProvisionalRate) -> str:
    return (
        f"Provisional: about {estimate.rate:.1%} wrong, by how the calls of all examiners on "
        f"animals you may see agree; it rests on about {estimate.animals:.1f} "
        f"{estimate.sex}s."
    )


def pooled_in_words(fit: Provisional) -> tuple[str, ...]:
    """How far to trust the provisional rates."""
    ended = "converged" if fit.converged else "did not converge, so treat it as rough"
    sentences = [f"The estimate pools {_number(fit.animals, 'animal')} and {ended}."]
    if fit.differ:
        sentences.append("Other starting points led to other answers that fit nearly as well.")
    if fit.outdone:
        sentences.append("One of them fitted better than the usual start and is the one shown.")
    return (*sentences, "It ranks examiners and never enters a standing.")


def qualification(one: Qualification) -> str:
    method, calls = METHODS[one.method].name, _number(one.calls, "settled call")
    if one.decision == "qualified":
        return f"{method}: qualified, with {one.wrong} wrong in {calls}."
    if one.decision == "not_qualified":
        return f"{method}: not qualified, with {one.wrong} wrong in {calls}."
    return (
        f"{method}: undecided, with {one.wrong} wrong in {calls}. "
        f"{_number(one.needed, 'more settled call')} without an error would qualify."
    )


def drift_in_words(found: Drift) -> str:
    low, high = found.exact
    counted = (
        f"{found.males} of {_number(found.sexed, 'hatchling')} from "
        f"{_number(found.clutches, 'clutch', 'clutches')} called male: {found.share:.0%}, with 95 "
        f"in 100 confidence between {low:.0%} and {high:.0%}."
    )
    if found.towards:
        return (
            f"{counted} Chance would seldom do this to even numbers (p {found.p:.4f}): calls "
            f"lean towards {found.towards}."
        )
    return f"{counted} That fits even numbers of both sexes (p {found.p:.2f})."


def harm_in_words(method: str, rate: HarmRate) -> str:
    seen = ", ".join(f"{kind} {times}" for kind, times in rate.signs)
    examined = _number(rate.examined, "examination")
    signs = f"signs of harm in {rate.harmed} of {examined}" + (f" ({seen})" if seen else "")
    if rate.examined < TOO_FEW:
        return f"{method}: {signs}; too few to tell how often."
    return (
        f"{method}: {signs}; the rate lies, with 95 in 100 confidence, between "
        f"{rate.low:.1%} and {rate.high:.1%}."
    )


def _number(count: int, one: str, many: str | None = None) -> str:
    return f"{count} {one if count == 1 else many or f'{one}s'}"
