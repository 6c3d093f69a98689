"""Planned pairings in words, with what speaks against relying on them."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final
from urllib.parse import urlencode
from uuid import UUID

from django.urls import reverse

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import title_of
from scalewitness.breeding.queries.pairings import PairingSeen
from scalewitness.domain.consequences import sex_of, verified_sex
from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.pages.parts.facts import StepForm

ROLES: Final[Mapping[Sex, str]] = {"male": "sire", "female": "dam"}
NOT_SEEN: Final = "an animal you may not see"


@dataclass(frozen=True, slots=True)
class Half:
    """One animal of a pairing. ``animal`` None: not the reader's to see. ``doubt``: what
    speaks against relying on it."""

    role: str
    animal: Animal | None
    title: str
    label: str
    doubt: str
    speaks_against: bool = False


@dataclass(frozen=True, slots=True)
class ShownPairing:
    """``cross``: of which species, in words, where it is one. ``awaits``: whose agreement it waits
    for, in words; ``agreeing`` is the form that gives the reader's; ``prospects``: where it
    is shown what it should bring, empty where the reader does not see both."""

    pairing: UUID
    season: int
    halves: tuple[Half, Half]
    form: StepForm
    cross: str
    awaits: str
    agreeing: StepForm | None
    prospects: str


def title_seen(animal: Animal | None) -> str:
    """Of one of a pairing, as far as the reader sees it."""
    return title_of(animal) if animal else NOT_SEEN


def in_words(found: Iterable[PairingSeen]) -> list[ShownPairing]:
    """Both animals of each, and the form that drops it."""
    return [
        ShownPairing(
            pairing=one.pairing.pk,
            season=one.pairing.season,
            halves=(
                _half("male", one.sire, one.labels[0]),
                _half("female", one.dam, one.labels[1]),
            ),
            form=StepForm("pairing_dropped"),
            cross=_cross(one.sire, one.dam),
            awaits=_awaits(one),
            agreeing=StepForm("pairing_agreed") if "own" in one.awaits and one.whole else None,
            prospects=_prospects(one),
        )
        for one in found
    ]


def _prospects(one: PairingSeen) -> str:
    if one.sire is None or one.dam is None:
        return ""
    asked = {"mate": one.dam.pk, "season": one.pairing.season}
    asked |= {"cross": "on"} if one.sire.species != one.dam.species else {}
    return f"{reverse('prospects', args=[one.sire.pk])}?{urlencode(asked)}"


def _awaits(one: PairingSeen) -> str:
    if "own" in one.awaits and not one.whole:
        return "Not agreed yet: ask its keeper for access to the other animal, then agree here."
    if "own" in one.awaits:
        return "Not agreed yet: it waits for your agreement."
    return "Not agreed yet: it waits for the other keeper." if one.awaits else ""


def _cross(sire: Animal | None, dam: Animal | None) -> str:
    """Of which species, where the two are of two."""
    if sire is None or dam is None or sire.species == dam.species:
        return ""
    return f"A cross of {taxon(sire.species).common} and {taxon(dam.species).common}."


def _half(sex: Sex, animal: Animal | None, label: str) -> Half:
    if animal is None:
        ask = "Ask its keeper what is known."
        return Half(ROLES[sex], None, NOT_SEEN.capitalize(), "", ask)
    against = sex_of(label) not in {None, sex}
    return Half(ROLES[sex], animal, title_of(animal), label, _doubt(sex, label), against)


def _doubt(sex: Sex, label: str) -> str:
    if verified_sex(label) == sex:
        return ""
    if sex_of(label) not in {None, sex}:
        return f"The record speaks against its being {sex}."
    return f"It is not verified as {sex}."
