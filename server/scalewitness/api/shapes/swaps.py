"""Animals that travelled together, as compared."""

from datetime import datetime
from typing import Annotated, get_args
from uuid import UUID

from msgspec import Struct

from scalewitness.animals.queries import title_of
from scalewitness.api.shapes import words
from scalewitness.domain.sexing.swaps import Explanation, Kind, in_words
from scalewitness.standings.queries.swaps import Because, Compared

SHOWN = 20
"""Explanations listed one by one; the others' shares are added up."""

SwapKind = Annotated[str, words.one_of(*get_args(Kind))]
MomentTaken = Annotated[str, words.one_of(*get_args(Because))]


class ExplanationShown(Struct, frozen=True):
    """What may have happened and its share. ``animals`` are the labels it is about; in a
    mix-up ``really`` names, in the same order, the animals that bore them."""

    kind: SwapKind
    share: float
    animals: list[UUID]
    really: list[UUID]
    text: str


class OwnLabel(Struct, frozen=True):
    """The chance that a label names its own animal."""

    animal: UUID
    chance: float


class SwapsShown(Struct, frozen=True):
    """Shares add up to one with ``others`` (explanations not listed) and ``discarded``:
    what the mix-ups not followed hold, exactly or, when ``bounded``, at most. Never a
    verdict. ``moved_at`` is the moment that divides earlier from later checks, and
    ``moved_because`` how it was taken."""

    moved_at: datetime | None
    moved_because: MomentTaken
    explanations: list[ExplanationShown]
    others: float
    discarded: float
    discarded_prior: float
    bounded: bool
    own: list[OwnLabel]
    words: str
    parameters: str


def swaps_shown(compared: Compared) -> SwapsShown:
    found = compared.found
    return SwapsShown(
        moved_at=compared.moved_at,
        moved_because=compared.because,
        explanations=[_explanation(one) for one in found.explanations[:SHOWN]],
        others=sum(one.share for one in found.explanations[SHOWN:]),
        discarded=found.discarded,
        discarded_prior=found.discarded_prior,
        bounded=found.bounded,
        own=[OwnLabel(UUID(label), chance) for label, chance in found.own],
        words=in_words(found, {str(one.pk): title_of(one) for one in compared.animals}),
        parameters=compared.parameters,
    )


def _explanation(one: Explanation) -> ExplanationShown:
    return ExplanationShown(
        kind=one.kind,
        share=one.share,
        animals=[UUID(label) for label in one.labels],
        really=[UUID(label) for label in one.really],
        text=one.text,
    )
