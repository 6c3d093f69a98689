"""How far the answer moves when the model's numbers do.

The design: the numbers as they are; each at either end of what is plausible, one at a
time; and four corners: all at their low ends, all at their high ends, and all at the end
that alone lowered, or raised, the probability. Where the answer moves one way in every
number, whatever the others, the last two are the extremes over the whole box; elsewhere
they are close to them, and no more than that. The pessimistic set stays as it is.
"""

from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from types import MappingProxyType
from typing import Final

from msgspec import Struct
from msgspec.structs import replace

from scalewitness.domain.facts import Label
from scalewitness.domain.sexing.box import Factor, Kind, Range, Setting, changed, factors
from scalewitness.domain.sexing.case import Case, Side, Standing, case_of
from scalewitness.domain.sexing.evidence import Evidence
from scalewitness.domain.sexing.parameters import Parameters, Status
from scalewitness.domain.sexing.policy import Policy
from scalewitness.domain.sexing.records import ExaminerRecords
from scalewitness.domain.sexing.sessions import Weigher
from scalewitness.domain.sexing.taxa import Taxon
from scalewitness.domain.sexing.taxon_sources import Range as ScaleRange
from scalewitness.domain.sexing.used import entered
from scalewitness.domain.sexing.weighed import WeighedCall


class Move(Struct, frozen=True):
    """What one uncertain number does by itself: the probability of male at its low and at
    its high end. ``by`` is the widest distance between any of those and the answer."""

    name: str
    what: str
    value: float
    low: float
    high: float
    status: Status
    p_low: float
    p_high: float
    by: float


class Part(Struct, frozen=True):
    """How much of the answer's range is one kind's: of the probability of male."""

    kind: Kind
    what: str
    by: float


class Sensitivity(Struct, frozen=True):
    """``p_low`` and ``p_high`` bound the probability of male over the design; ``labels``
    are all that it reached, the standing's own first; ``moves`` the widest first; ``parts``
    add up to the range, the largest first."""

    p_male: float
    p_low: float
    p_high: float
    labels: tuple[Label, ...]
    moves: tuple[Move, ...]
    points: int
    parts: tuple[Part, ...] = ()

    @property
    def mover(self) -> Move | None:
        """What moves the answer most; None when nothing does."""
        return self.moves[0] if self.moves and self.moves[0].by > 0 else None


def sensitivity(
    evidence: Sequence[Evidence],
    taxon: Taxon,
    records: ExaminerRecords,
    policy: Policy,
    parameters: Parameters,
    prior_male: float = 0.5,
    prior_range: Range | None = None,
    prior_pessimistic: float | None = None,
    *,
    known_elsewhere: bool = False,
) -> Sensitivity:
    """The answer's range over the box. ``prior_range`` bounds the prior from a sex-linked
    trait. Else as :func:`case_of`."""
    case = case_of(
        evidence,
        taxon,
        records,
        parameters,
        prior_male,
        prior_pessimistic,
        known_elsewhere=known_elsewhere,
    )
    uncertain = factors(case.base.weighed, case.base.weigher, prior_male, prior_range)
    at = _answers(case, policy)
    here = at(Setting())
    alone = [(at(factor.ends[0]), at(factor.ends[1])) for factor in uncertain]
    ends = [(low.p_male, high.p_male) for low, high in alone]
    corners = [at(setting) for setting in _corners(uncertain, ends, here.p_male)]
    reached = [here, *(one for pair in alone for one in pair), *corners]
    lowest, highest = (of(one.p_male for one in reached) for of in (min, max))
    by_kind = _by_kind(uncertain, ends, here.p_male, lambda setting: at(setting).p_male)
    return Sensitivity(
        p_male=here.p_male,
        p_low=lowest,
        p_high=highest,
        labels=tuple(dict.fromkeys(one.label for one in reached)),
        moves=_moves(uncertain, ends, here.p_male),
        points=len(reached),
        parts=_parts(by_kind, highest - lowest),
    )


def in_words(found: Sensitivity) -> str:
    """The range and what moves it most, as sentences."""
    if found.mover is None:
        return "No plausible change of the model's numbers moves this answer."
    span = span_in_words(found.p_low, found.p_high)
    return (
        f"With other plausible numbers in the model, {span} in 100 such "
        f"animals would be male. What moves this most is {found.mover.what}. "
        f"{_labels(found.labels)}"
    )


_WHAT: Final[Mapping[Kind, str]] = {
    "examiners": "how often examiners are wrong",
    "animal": "whether this animal shows the usual picture of its sex",
    "identity": "whether this was the animal examined",
    "report": "whether what was reported is so",
    "numbers": "what is known of methods and species",
}
_OF_SESSIONS = frozenset({"session.hours"})  # decides no call's weight, only which go together


# --- points of the design ---------------------------------------------------------------


def _answers(case: Case, policy: Policy) -> Callable[[Setting], Standing]:
    """The standing at a point of the box; calls the point does not touch keep their weight."""
    side = case.base
    names = [frozenset(p.name for p in entered(w, side.weigher.numbers)) for w in side.weighed]

    def at(setting: Setting) -> Standing:
        weigher = _weigher(side.weigher, setting)
        changes = frozenset(name for name, _ in setting.numbers) - _OF_SESSIONS
        weighed = [
            weigher.weigh(one.call, heard=one.heard)
            if _touched(one, used, setting, changes)
            else one
            for one, used in zip(side.weighed, names, strict=True)
        ]
        prior = side.prior_male if setting.prior_male is None else setting.prior_male
        base, elsewhere = Side(weigher, weighed, prior), case.known_elsewhere
        found = Case(case.calls, base, case.pessimistic, known_elsewhere=elsewhere)
        return found.standing(policy)

    return at


def _touched(
    one: WeighedCall, used: frozenset[str], setting: Setting, changes: frozenset[str]
) -> bool:
    return (
        not changes.isdisjoint(used)
        or (any(setting.shift) and one.method == "probing")
        or any(key[:2] == (one.call.examiner, one.method) for key, _ in setting.rates)
    )


def _weigher(base: Weigher, setting: Setting) -> Weigher:
    numbers = changed(base.numbers, setting) if setting.numbers else base.numbers
    parameters = replace(base.parameters, base=numbers)
    return Weigher(
        _shifted(base.taxon, setting.shift),
        _recorded(base.records, setting),
        parameters,
        numbers,
    )


def _shifted(taxon: Taxon, shift: tuple[float, float]) -> Taxon:
    if not any(shift):
        return taxon
    return replace(
        taxon,
        male_range=_moved(taxon.male_range, shift[0]),
        female_range=_moved(taxon.female_range, shift[1]),
    )


def _moved(given: ScaleRange | None, by: float) -> ScaleRange | None:
    return None if given is None else (given[0] + Decimal(by), given[1] + Decimal(by))


def _recorded(records: ExaminerRecords, setting: Setting) -> ExaminerRecords:
    if not setting.rates:
        return records
    return ExaminerRecords(
        records.version, MappingProxyType({**records.rates, **dict(setting.rates)})
    )


def _corners(
    uncertain: Sequence[Factor], ends: Sequence[tuple[float, float]], here: float
) -> list[Setting]:
    lowering, raising = Setting(), Setting()
    for factor, (low, high) in zip(uncertain, ends, strict=True):
        settings = dict(zip((low, high, here), (*factor.ends, Setting()), strict=True))
        lowering += settings[min(settings)]
        raising += settings[max(settings)]
    low_ends = sum((factor.ends[0] for factor in uncertain), Setting())
    high_ends = sum((factor.ends[1] for factor in uncertain), Setting())
    return [low_ends, high_ends, lowering, raising]


def _by_kind(
    uncertain: Sequence[Factor],
    ends: Sequence[tuple[float, float]],
    here: float,
    at: Callable[[Setting], float],
) -> dict[Kind, float]:
    """How far the answer goes with everything of one kind at its ends, all else as it is."""
    found: dict[Kind, float] = {}
    for kind in dict.fromkeys(factor.kind for factor in uncertain):
        own = [one for one in zip(uncertain, ends, strict=True) if one[0].kind == kind]
        factors, moved = [factor for factor, _ in own], [pair for _, pair in own]
        reached = [here, *(p for pair in moved for p in pair)]
        if len(own) > 1:
            reached += [at(setting) for setting in _corners(factors, moved, here)[2:]]
        found[kind] = max(reached) - min(reached)
    return found


# --- results ----------------------------------------------------------------------------


def _moves(
    uncertain: Sequence[Factor], ends: Sequence[tuple[float, float]], here: float
) -> tuple[Move, ...]:
    moves = [
        Move(
            factor.name,
            factor.what,
            factor.value,
            factor.low,
            factor.high,
            factor.status,
            low,
            high,
            max(low, high, here) - min(low, high, here),
        )
        for factor, (low, high) in zip(uncertain, ends, strict=True)
    ]
    return tuple(sorted(moves, key=lambda move: (-move.by, move.name)))


def _parts(by_kind: Mapping[Kind, float], whole: float) -> tuple[Part, ...]:
    """The range shared out as the kinds alone would move the answer: moved together they do
    not add up, and what they share goes to each in proportion (our judgement)."""
    total = sum(by_kind.values())
    parts = [Part(kind, _WHAT[kind], whole * by / total) for kind, by in by_kind.items() if by]
    return tuple(sorted(parts, key=lambda part: (-part.by, part.kind)))


def _labels(labels: Sequence[Label]) -> str:
    if len(labels) == 1:
        return "The label would stay the same."
    others = ", ".join(labels[1:])
    return f"The label could then also be: {others}."


def span_in_words(low: float, high: float) -> str:
    """Both ends in hundredths, or what they are both said to be."""
    ends = hundredths(low), hundredths(high)
    return ends[0] if ends[0] == ends[1] else f"between {ends[0]} and {ends[1]}"


def hundredths(p: float) -> str:
    """A probability in hundredths, never quite none and never quite all."""
    share = 100 * p
    if share < 0.1:
        return "less than 0.1"
    return "more than 99.9" if share > 99.9 else f"{share:.1f}".removesuffix(".0")
