"""A transponder's number that another record bears too, or bore."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.contrib import messages
from django.http import HttpRequest

from scalewitness.animals.models import Animal, Identifier, IdentifierWithdrawal
from scalewitness.animals.queries import is_steward, title_of
from scalewitness.animals.queries.transponders import also_on, known_elsewhere
from scalewitness.calls.queries.visibility import visible_animals
from scalewitness.domain.identifiers import names_one_animal, plain_code
from scalewitness.intake.outcomes import Outcome
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import leaf_of
from scalewitness.people.models import Keeper

KNOWN = (
    "This number is known elsewhere: another record bore it first. You are told what to do by "
    "letter, and on this page."
)


def warn_of_number(request: HttpRequest, outcome: Outcome) -> None:
    """On the next page, at once, where a number was given that is known elsewhere."""
    if "known_elsewhere" in outcome.flags:
        messages.warning(request, KNOWN)


@dataclass(frozen=True, slots=True)
class SharedNumber:
    """``newer``: another bore it first; ``own``: those of the others that its keeper sees whole,
    each with its title. Of any other nothing is told."""

    newer: bool
    own: Sequence[tuple[Animal, str]]


def shared_number(keeper: Keeper, animal: Animal, now: datetime) -> SharedNumber | None:
    """What keeper and partners are told; None where no other record bears a number of its."""
    if not is_steward(keeper.pk, animal.collection, now):
        return None
    others = also_on(animal.pk)
    if not others:
        return None
    seen = visible_animals(keeper.pk, now).filter(sight="all", pk__in=others)
    own = [(one, title_of(one)) for one in seen]
    return SharedNumber(bool(known_elsewhere([animal.pk])), own)


def moved_number(entry: Entry) -> str:
    """For a line of an animal's history that gives or withdraws a code: which, and whether it came
    from another record, or is on another now."""
    if entry.kind not in {"identifier_assigned", "identifier_withdrawn"}:
        return ""
    body = leaf_of(entry).body
    scheme, code = body["scheme"], plain_code(body["scheme"], body["code"])
    what = f"{scheme.replace('_', ' ')} {code}"
    if not names_one_animal(scheme, code):
        return what
    others = {"scheme": scheme, "code": code, "position__lt": entry.position}
    if entry.kind == "identifier_withdrawn":
        borne = Identifier.objects.filter(scheme=scheme, code=code).exclude(animal=entry.about)
        return f"{what}; another record bears it now" if borne.exists() else what
    if IdentifierWithdrawal.objects.filter(**others).exclude(animal=entry.about).exists():
        return f"{what}; another record had borne it, and did so by mistake"
    earlier = Identifier.ever.filter(**others).exclude(animal=entry.about).exists()
    return f"{what}; another record bore it already" if earlier else what
