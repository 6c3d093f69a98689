"""The words a probability may go by, and why.

``verified`` needs probability and independent eyes. A verified sex that one examiner
contradicts at 9 to 1 falls at once and returns only when the rule is met with the
contrary call counted *and* a later session supports that sex as strongly. An animal in which
organs of both sexes were seen, on evidence that would settle a sex, is contested whatever else
is on record, and never verified. Nor is one whose transponder another record bore first.
"""

from collections.abc import Callable, Sequence
from typing import Any, Protocol, TypeVar, cast

from msgspec import Struct
from msgspec.structs import replace

from scalewitness.domain.facts import Label
from scalewitness.domain.observations import Parentage, Reproduction, Sex
from scalewitness.domain.sexing.evidence import Evidence, other
from scalewitness.domain.sexing.likelihood import log_odds
from scalewitness.domain.sexing.policy import Policy
from scalewitness.domain.sexing.weighed import Session, WeighedCall

EVEN = 1e-9
"""A probability this close to one half favours neither sex: rounding must not decide."""


class View(Struct, frozen=True):
    """The record up to some call: probabilities of male, the sessions, and the call that
    came last."""

    p_male: float
    p_male_pessimistic: float
    sessions: tuple[Session, ...]
    newest: str = ""
    atypical: tuple[WeighedCall, ...] = ()
    """Calls of organs of both sexes, which speak for neither."""
    own_view: tuple[float, float] | None = None
    """Both probabilities without the calls of those who knew an answer; None in a version
    in which they too may verify."""

    @property
    def favoured(self) -> Sex | None:
        if abs(self.p_male - 0.5) < EVEN:
            return None
        return "male" if self.p_male > 0.5 else "female"

    def share(self, sex: Sex) -> tuple[float, float]:
        """Base and pessimistic probability of that sex."""
        return _of(sex, (self.p_male, self.p_male_pessimistic))

    def own_share(self, sex: Sex) -> tuple[float, float]:
        """As :meth:`share`, from those alone who may verify."""
        return self.share(sex) if self.own_view is None else _of(sex, self.own_view)

    def contradicting(self, held: Sex, least: float) -> list[Session]:
        """Sessions that bring that sex down: that speak so strongly against it, or would had
        their examiner no record."""
        sign = -1 if held == "male" else 1
        return [s for s in self.sessions if max(s.log_ratio * sign, s.unproven * sign) >= least]

    def supporting(self, sex: Sex, least: float = 0.0) -> list[Session]:
        """Sessions that alone favour that sex by more than nothing and at least ``least``
        (natural log of the odds)."""
        sign = 1 if sex == "male" else -1
        return [s for s in self.sessions if s.log_ratio * sign > 0 and s.log_ratio * sign >= least]


def _of(sex: Sex, p_male: tuple[float, float]) -> tuple[float, float]:
    return p_male if sex == "male" else (1 - p_male[0], 1 - p_male[1])


class Course(Struct, frozen=True):
    """Where the history has led: the verified sex, or the one that fell and when (log
    position), and how the verified one came about."""

    verified: Sex | None = None
    fallen: Sex | None = None
    since: int = -1
    turn: str = ""


class Labelling(Struct, frozen=True):
    label: Label
    favoured: Sex | None
    decisive: bool
    reasons: tuple[str, ...]


def settle(views: Callable[[int], View], count: int, policy: Policy) -> Labelling:
    """The label of the record of ``count`` calls; ``views(n)`` shows its first n."""
    view = views(count)
    label, sex = _by_share(view, policy)
    if any(_settles_that_it_is_neither(w, policy) for w in view.atypical):
        return Labelling("contested", None, False, ("atypical",))
    if not view.sessions:
        return Labelling(label, sex, False, ("no_evidence",))
    course = _course(views, count, policy)
    if course.fallen is not None or _opposed(view, policy):
        label = "contested"
    if sex is None:
        return Labelling(label, None, False, ("evenly_balanced", *_fall(course)))
    decisive = bool(_decisive(view, sex, policy))
    if course.verified == sex:
        label = cast(Label, f"verified {sex}")
        return Labelling(label, sex, decisive, _why(view, sex, course, policy))
    return Labelling(label, sex, decisive, _why_not(view, sex, course, policy))


def _settles_that_it_is_neither(weighed: WeighedCall, policy: Policy) -> bool:
    call = weighed.call
    alone = call.newcomer or call.same_person
    return weighed.may_decide and could_decide(call, policy) and not alone


class Labelled(Protocol):
    @property
    def label(self) -> Label: ...
    @property
    def favoured(self) -> Sex | None: ...
    @property
    def reasons(self) -> tuple[str, ...]: ...


L = TypeVar("L", bound=Labelled)


def known_elsewhere(found: L) -> L:
    """Of a record whose transponder another bore first: half of what was seen of the snake may be
    on record there, so its sex is probable at most, and the reason always said."""
    label = found.label
    if label.startswith("verified "):
        label = cast(Label, f"probable {found.favoured}")
    more: dict[str, Any] = {"label": label, "reasons": ("known_elsewhere", *found.reasons)}
    return cast(L, replace(cast(Struct, found), **more))


# --- the rule -------------------------------------------------------------------------


def unmet(view: View, sex: Sex, policy: Policy) -> list[str]:
    """What keeps that sex from being verified, as stable codes; empty when the rule is
    met."""
    share, pessimistic = view.share(sex)
    missing = []
    if share < policy.verified:
        missing.append(f"below_{policy.verified:g}")
    if pessimistic < policy.verified_pessimistic:
        missing.append(f"below_{policy.verified_pessimistic:g}_pessimistic")
    own, own_pessimistic = view.own_share(sex)
    if not missing and (own < policy.verified or own_pessimistic < policy.verified_pessimistic):
        missing.append("rests_on_those_who_knew")
    if not _decisive(view, sex, policy):
        missing.extend(_unmet_decision(view, sex, policy))
    return missing


def _unmet_decision(view: View, sex: Sex, policy: Policy) -> list[str]:
    """Where agreement is lacking, and somebody's word would settle the sex had it a footing, that
    is all that is lacking."""
    lacking = _unmet_agreement(view, sex, policy)
    shown = [w.call for w in _counting(view, sex) if _shows_the_sex(w, policy)]
    if not lacking or not shown:
        return lacking
    return ["same_person" if all(one.same_person for one in shown) else "newcomers"]


def _unmet_agreement(view: View, sex: Sex, policy: Policy) -> list[str]:
    agreeing = [
        w
        for w in _counting(view, sex)
        if w.method not in policy.excluded and not (view.own_view and w.knowing) and not w.hearsay
    ]
    apart = [w for w in agreeing if not w.call.same_person]
    blind = {w.call.call for w in apart if w.call.blind and not w.call.interested}
    missing = []
    if len({w.call.examiner for w in agreeing}) < policy.examiners:
        missing.append("needs_second_examiner")
    elif len({w.call.examiner for w in apart}) < policy.examiners:
        missing.append("same_person")
    footed = {w.call.call for w in apart if w.call.call in blind and not w.call.newcomer}
    if len(blind) < policy.blind_calls:
        missing.append("needs_blind_call")
    elif len(footed) < policy.blind_calls:
        missing.append("newcomers")
    return missing


def _counting(view: View, sex: Sex) -> list[WeighedCall]:
    """Calls for that sex in sessions that as a whole speak for it."""
    return [w for s in view.supporting(sex) for w in s.calls if w.call.conclusion == sex]


def _decisive(view: View, sex: Sex, policy: Policy) -> list[WeighedCall]:
    return [w for w in _counting(view, sex) if is_decisive(w, policy)]


def is_decisive(weighed: WeighedCall, policy: Policy) -> bool:
    """Whether this call settles the sex without a second examiner: a conclusive finding
    of a decisive method, in the right hands, on an animal whose identity was read, by somebody
    whose word has a footing, and who is not its keeper or an earlier examiner under another
    account."""
    call = weighed.call
    return _shows_the_sex(weighed, policy) and not (call.newcomer or call.same_person)


def _shows_the_sex(weighed: WeighedCall, policy: Policy) -> bool:
    if not weighed.may_decide or not weighed.reading.informative:
        return False
    return could_decide(weighed.call, policy)


def could_decide(call: Evidence, policy: Policy) -> bool:
    """Whether such a call settles the sex if what was found tells the sexes apart."""
    if isinstance(call.observed, Reproduction) and not call.observed.witnessed:
        return False
    if isinstance(call.observed, Parentage) and not call.observed.all_excluded:
        return False
    return call.identified == "confirmed" and call.role in policy.decisive.get(call.method, ())


def _met(view: View, policy: Policy) -> Sex | None:
    sex = view.favoured
    return sex if sex is not None and not unmet(view, sex, policy) else None


# --- the history ----------------------------------------------------------------------


def _course(views: Callable[[int], View], count: int, policy: Policy) -> Course:
    """Walks the log only when some session contradicts some other call strongly enough to
    bring a verified sex down."""
    last = views(count)
    if not _contradicted(last, policy):
        return Course(verified=_met(last, policy))
    course = Course()
    for n in range(1, count + 1):
        course = _step(course, views(n), policy)
    return course


def _step(course: Course, view: View, policy: Policy) -> Course:
    held = course.verified or course.fallen
    against = _newest_against(view, held, policy) if held else None
    if against is not None:
        course = Course(fallen=held, since=against)
    met = _met(view, policy)
    if met is None:
        return Course(fallen=course.fallen, since=course.since)
    if course.fallen is None:
        return Course(verified=met, turn=course.turn if course.verified == met else "")
    if met != course.fallen:
        return Course(verified=met, turn="reversed")
    if _supported_since(view, met, course.since, policy):
        return Course(verified=met, turn="restored")
    return course


def _newest_against(view: View, held: Sex, policy: Policy) -> int | None:
    """Log position of the newest call if its session contradicts the held sex."""
    for session in view.contradicting(held, log_odds(policy.contrary)):
        for weighed in session.calls:
            if weighed.call.call == view.newest and weighed.call.conclusion != held:
                return weighed.call.position
    return None


def _supported_since(view: View, sex: Sex, since: int, policy: Policy) -> bool:
    strong = view.supporting(sex, log_odds(policy.contrary))
    return any(session.position > since for session in strong)


def _contradicted(view: View, policy: Policy) -> bool:
    concluded = {w.call.conclusion for session in view.sessions for w in session.calls}
    least = log_odds(policy.contrary)
    return any(
        view.contradicting(sex, least) and sex in concluded
        for sex in cast(Sequence[Sex], ("male", "female"))
    )


def _opposed(view: View, policy: Policy) -> bool:
    """Whether some speak strongly for either sex. What is no examination and settles nothing
    has its weight, and contradicts nobody."""
    least = log_odds(policy.contrary)
    sides = (view.supporting("male", least), view.supporting("female", least))
    return all(any(_may_contradict(s, policy) for s in side) for side in sides)


def _may_contradict(session: Session, policy: Policy) -> bool:
    return any(w.method not in policy.excluded or is_decisive(w, policy) for w in session.calls)


# --- words ----------------------------------------------------------------------------


def _by_share(view: View, policy: Policy) -> tuple[Label, Sex | None]:
    sex = view.favoured
    if sex is not None and view.share(sex)[0] >= policy.probable:
        return cast(Label, f"probable {sex}"), sex
    return "unsexed", sex


def _why(view: View, sex: Sex, course: Course, policy: Policy) -> tuple[str, ...]:
    reasons = [course.turn] if course.turn else []
    if _decisive(view, sex, policy):
        reasons.append("decisive_evidence")
    if not _unmet_agreement(view, sex, policy):
        reasons.append("examiners_agree")
    return (*reasons, *_contrary(view, sex, policy))


def _why_not(view: View, sex: Sex, course: Course, policy: Policy) -> tuple[str, ...]:
    reasons = [*unmet(view, sex, policy), *_contrary(view, sex, policy), *_fall(course)]
    if course.fallen == sex and not _supported_since(view, sex, course.since, policy):
        reasons.append("needs_later_support")
    if any(w.call.identified != "confirmed" for w in _counting(view, sex)):
        reasons.append("identity_unconfirmed")
    return tuple(reasons)


def _contrary(view: View, sex: Sex, policy: Policy) -> list[str]:
    strong = view.supporting(other(sex), log_odds(policy.contrary))
    return ["contrary_call"] if strong else []


def _fall(course: Course) -> list[str]:
    return [] if course.fallen is None else [f"fell_from_{course.fallen}"]
