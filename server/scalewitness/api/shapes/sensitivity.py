"""How far an answer moves when the model's numbers do, as shown."""

from typing import Annotated, get_args

from msgspec import Struct

from scalewitness.api.shapes import words
from scalewitness.domain.sexing.box import Kind
from scalewitness.domain.sexing.parameters import Status
from scalewitness.domain.sexing.sensitivity import Move, Sensitivity, in_words

UncertainKind = Annotated[str, words.one_of(*get_args(Kind))]
NumberStatus = Annotated[str, words.one_of(*get_args(Status))]


class NumberMoved(Struct, frozen=True):
    """One uncertain number: its value, how low and high it may plausibly be, and the
    probability of male at either end. ``by``: the widest distance from the answer."""

    name: str
    what: str
    value: float
    low: float
    high: float
    status: NumberStatus
    source: str
    p_low: float
    p_high: float
    by: float


class RangePart(Struct, frozen=True):
    """How much of the range comes from one kind of uncertainty: ``by``, of the probability."""

    kind: UncertainKind
    what: str
    by: float


class SensitivityShown(Struct, frozen=True):
    """``p_low`` and ``p_high`` bound the probability of male over ``points`` combinations
    of plausible numbers; ``labels`` are all that it reached, the answer's own first; ``parts``
    add up to the range, the largest first."""

    p_male: float
    p_low: float
    p_high: float
    labels: list[words.Label]
    mover: NumberMoved | None
    moves: list[NumberMoved]
    points: int
    parts: list[RangePart]
    words: str


def sensitivity_shown(found: Sensitivity, sources: dict[str, str]) -> SensitivityShown:
    """``sources``: where numbers come from, by name; empty for one with no source."""
    return SensitivityShown(
        p_male=found.p_male,
        p_low=found.p_low,
        p_high=found.p_high,
        labels=list(found.labels),
        mover=_moved(found.mover, sources) if found.mover else None,
        moves=[_moved(move, sources) for move in found.moves],
        points=found.points,
        parts=[RangePart(part.kind, part.what, part.by) for part in found.parts],
        words=in_words(found),
    )


def _moved(move: Move, sources: dict[str, str]) -> NumberMoved:
    return NumberMoved(
        name=move.name,
        what=move.what,
        value=move.value,
        low=move.low,
        high=move.high,
        status=move.status,
        source=sources.get(move.name, ""),
        p_low=move.p_low,
        p_high=move.p_high,
        by=move.by,
    )
