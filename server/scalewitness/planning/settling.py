"""Which single check would verify a sex that is not verified yet. Nothing is recorded."""

from collections.abc import Callable, Iterator
from datetime import datetime
from itertools import islice
from uuid import UUID

from msgspec import Struct
from msgspec.structs import replace

from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.what_if import WhatIf
from scalewitness.planning.supposing import Occasion, SupposedAnswer, supposing
from scalewitness.standings.queries.dossier import Dossier

CHECKS: tuple[tuple[str, SupposedAnswer], ...] = (
    (
        "one blind check, such as a probing, by somebody new to it who is known here",
        SupposedAnswer("probing", "male"),
    ),
    (
        "an ultrasound by a veterinarian who is not told the earlier answers and confirms it",
        SupposedAnswer("ultrasound", "male", role="veterinarian", confirmed=True),
    ),
    (
        "a laboratory’s DNA test that they confirm",
        SupposedAnswer("dna", "male", role="laboratory", confirmed=True),
    ),
    (
        "a veterinarian’s endoscopy that they confirm",
        SupposedAnswer("endoscopy", "male", role="veterinarian", confirmed=True),
    ),
)
"""Those that hurt least first (our judgement); of what would do, the first two are named."""
NAMED = 2
SEXES: tuple[Sex, ...] = ("male", "female")


class Settling(Struct, frozen=True):
    """In words, empty where nothing needs to be settled; whether a keeper's ``blind`` check is
    among what would do."""

    words: str = ""
    blind: bool = False


def what_would_settle(known: Dossier, occasion: Occasion, asker: UUID, now: datetime) -> Settling:
    """Worked out by supposing each check with its usual finding of either sex."""
    now_stands, animal = known.assessment, known.animal
    if now_stands.label.startswith("verified") or "atypical" in now_stands.reasons or animal.ended:
        return Settling()
    if "known_elsewhere" in now_stands.reasons:
        return Settling("no check before one of the two keepers puts the number right.")
    found = list(islice(_that_do(supposing(known.basis, occasion, asker, now)), NAMED))
    if not found:
        return Settling("no single check; several would have to agree.")
    words = (f"{CHECKS[nth][0]}{when}" for nth, when in found)
    return Settling(
        f"{', or '.join(words)}.", blind=any(CHECKS[nth][1].role == "keeper" for nth, _ in found)
    )


def _that_do(ask: Callable[[SupposedAnswer], WhatIf]) -> Iterator[tuple[int, str]]:
    """Each of the checks that would, by its place, and on what finding where not on either."""

    def verifies(check: SupposedAnswer, sex: Sex) -> bool:
        return ask(replace(check, conclusion=sex)).after.label == f"verified {sex}"

    for nth, (_, check) in enumerate(CHECKS):
        sexes = [sex for sex in SEXES if verifies(check, sex)]
        if sexes:
            yield nth, "" if len(sexes) > 1 else f", if it finds {sexes[0]}"
