"""What speaks against pairing an animal now: its age, weight, rest and health.

Cautions, never limits: every figure is told with its source and status.
"""

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import Final

from msgspec import Struct

from scalewitness.domain.cautions import WEIGHT_AGES
from scalewitness.domain.habits import weight_in_words
from scalewitness.domain.observations import Sex
from scalewitness.domain.season.reproduction import BreedingFigures, FirstBreeding, Sourced

DAYS_OF_MONTH: Final = 30.44
NO_FIGURE: Final = (
    "From what age and weight on they are bred is not published where we could read it: ask "
    "somebody who breeds them."
)
TIME_OF_YEAR: Final = (
    "In which months they breed differs by stock and by room, and no figure is kept here: go by "
    "the animal, not by the calendar."
)


class BeforePairing(Struct, frozen=True):
    """What is known of an animal that is to breed as that sex. ``last_young``: when the last ones
    that it is known to have had hatched or were born; ``held_off``: its keeper, or its health,
    asks to leave it alone."""

    sex: Sex
    hatched: date | None
    grams: Decimal | None
    weighed: date | None
    last_young: date | None
    held_off: bool = False


class PairingCaution(Struct, frozen=True):
    """``rests_on``: status and source of the figure in it, empty where there is none."""

    text: str
    rests_on: str = ""


def speaks_against(
    known: BeforePairing, figures: BreedingFigures, today: date, season: int
) -> list[PairingCaution]:
    """``season``: the year in which the young are to hatch or be born."""
    first = figures.first.get(known.sex)
    return [
        *_held_off(known),
        *_young(known, first, today),
        *_light(known, first, today),
        *_not_rested(known, figures, season),
        *([PairingCaution(NO_FIGURE)] if first is None else []),
    ]


def _held_off(known: BeforePairing) -> Iterator[PairingCaution]:
    if known.held_off:
        yield PairingCaution("Its keeper asks everyone to leave it alone for now.")


def _young(
    known: BeforePairing, first: FirstBreeding | None, today: date
) -> Iterator[PairingCaution]:
    if known.hatched is None:
        yield PairingCaution("Its age is not on record.")
    elif first and first.months is not None:
        months = int((today - known.hatched).days / DAYS_OF_MONTH)
        if months < first.months:
            text = (
                f"It is {months} months old; a {known.sex} is bred from {first.months} months on."
            )
            yield PairingCaution(text, rests_on(first))


def _light(
    known: BeforePairing, first: FirstBreeding | None, today: date
) -> Iterator[PairingCaution]:
    if known.grams is None or known.weighed is None:
        yield PairingCaution("No weight of it is noted.")
        return
    if first and first.grams is not None and known.grams < first.grams:
        weighs, needed = weight_in_words(known.grams), weight_in_words(Decimal(first.grams))
        text = f"It last weighed {weighs}; a {known.sex} is bred from {needed} on."
        yield PairingCaution(text, rests_on(first))
    if today - known.weighed > WEIGHT_AGES:
        yield PairingCaution("Its last weight is more than 60 days old.")


def _not_rested(
    known: BeforePairing, figures: BreedingFigures, season: int
) -> Iterator[PairingCaution]:
    if known.sex != "female" or known.last_young is None:
        return
    rested, rest = season - known.last_young.year, figures.rest
    if rest and rested < rest.seasons:
        text = (
            f"Her last young came in {known.last_young.year}; from one clutch to the next such "
            f"females take {rest.seasons} seasons."
        )
        yield PairingCaution(text, rests_on(rest))
    elif rest is None and rested < 2:
        yield PairingCaution(
            f"Her last young came in {known.last_young.year}. How long such a female should rest "
            "is not published where we could read it; many keepers leave out a year when she has "
            "not come back to her weight.",
            "common practice, no source",
        )


def rests_on(figure: Sourced) -> str:
    """Status and source of a figure, in words."""
    about = f", of {figure.about}" if figure.about else ""
    return f"{figure.status}{about}{f': {figure.source}' if figure.source else ', no source'}"
