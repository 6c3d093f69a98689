"""What a buyer was shown of an offer, and what of it is different now.

A confirmation holds a digest of it. The probabilities may drift a little, and what an animal is
called is not for the log, so these two stand beside the digest.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from hashlib import sha256
from typing import Final

from scalewitness.domain.facts import AnimalAsShown, WhatWasShown
from scalewitness.domain.translog.canonical import canonical_bytes

DRIFT = Decimal("0.005")
"""By how much either probability may move between view and confirmation."""


@dataclass(frozen=True, slots=True)
class ShownAnimal:
    """One animal as an offer shows it. ``name``: as of ``version`` of its record. ``codes``:
    each as "tag R-17". ``label`` and probabilities: the record's, not those of the offer.
    ``claims``: those that the offer represents, in words, with what became of each."""

    animal: str
    name: str
    version: int
    species: str
    hatched: str
    traits: tuple[str, ...]
    codes: tuple[str, ...]
    label: str
    p_male: str
    p_male_pessimistic: str
    claims: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ShownOffer:
    """All that counts of what an offer shows."""

    offer: str
    terms: Mapping[str, str | int]
    animals: tuple[ShownAnimal, ...]

    def summary(self) -> WhatWasShown:
        """As a confirmation holds it."""
        animals = (
            AnimalAsShown(
                animal=one.animal,
                version=one.version,
                p_male=one.p_male,
                p_male_pessimistic=one.p_male_pessimistic,
            )
            for one in self.animals
        )
        return WhatWasShown(digest=self._digest(), animals=tuple(animals))

    def _digest(self) -> str:
        """SHA-256 over RFC 8785 JSON, in hex."""
        animals = [
            {
                "animal": one.animal,
                "codes": list(one.codes),
                "hatched": one.hatched,
                "label": one.label,
                "species": one.species,
                "traits": list(one.traits),
                **({"claims": list(one.claims)} if one.claims else {}),
            }
            for one in self.animals
        ]
        shown = {"offer": self.offer, "terms": dict(self.terms), "animals": animals}
        return sha256(canonical_bytes(shown)).hexdigest()


@dataclass(frozen=True, slots=True)
class Moved:
    """One thing that is not what it was. ``animal``: None for a term of the offer; ``what``:
    which thing. ``was`` and ``now`` are words for people."""

    animal: str | None
    what: str
    was: str
    now: str


def moved(was: ShownOffer, now: ShownOffer) -> list[Moved]:
    """What is different. Both are of the same sale, and so of the same animals."""
    terms = [
        Moved(None, name, str(was.terms[name]), str(value))
        for name, value in now.terms.items()
        if was.terms[name] != value
    ]
    pairs = zip(was.animals, now.animals, strict=True)
    return terms + [one for before, after in pairs for one in _of_animal(before, after)]


def _of_animal(was: ShownAnimal, now: ShownAnimal) -> Iterator[Moved]:
    for what in ("label", "name", "species", "hatched", "traits", "codes", "claims"):
        before, after = _words(getattr(was, what)), _words(getattr(now, what))
        if before != after:
            yield Moved(now.animal, what, before, after)
    if _drifted(was, now):
        yield Moved(now.animal, "probability", _chances(was), _chances(now))


def _drifted(was: ShownAnimal, now: ShownAnimal) -> bool:
    pairs = ((was.p_male, now.p_male), (was.p_male_pessimistic, now.p_male_pessimistic))
    return any(abs(Decimal(one) - Decimal(other)) > DRIFT for one, other in pairs)


def _words(value: str | tuple[str, ...]) -> str:
    return (value if isinstance(value, str) else ", ".join(value)) or "none"


def _chances(shown: ShownAnimal) -> str:
    """To one place, so that a drift that counts shows."""
    chances = [100 * float(one) for one in (shown.p_male, shown.p_male_pessimistic)]
    sex = "male" if chances[0] >= 50 else "female"
    likely, doubted = (one if sex == "male" else 100 - one for one in chances)
    return f"{likely:.1f} in 100 would be {sex}; trusting every call less, {doubted:.1f}"


SUBJECTS: Final[Mapping[str, str]] = {
    "name": "its name",
    "species": "its species",
    "hatched": "its hatching date",
    "traits": "its traits",
    "codes": "its codes",
    "claims": "what is claimed of its traits",
    "probability": "its probability",
    "recheck_days": "the days to recheck",
    "remedy": "the remedy",
    "days_to_pay": "the days to pay",
    "expires": "the offer's end",
}


def in_words(moved: Moved) -> str:
    """As part of a sentence."""
    if moved.what == "label":
        return f"it was “{moved.was}” and is now “{moved.now}”"
    return f"{SUBJECTS[moved.what]} “{moved.was}” became “{moved.now}”"
