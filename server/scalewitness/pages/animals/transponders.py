"""A transponder's number that another record bears too, or bore."""

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest

from scalewitness.animals.models import Animal, Identifier, IdentifierWithdrawal, Joining
from scalewitness.animals.queries import title_of
from scalewitness.domain.identifiers import names_one_animal, plain_code
from scalewitness.intake.outcomes import Outcome
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import leaf_of
from scalewitness.people.queries import names_of

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
    """``newer``: the number is another's; ``own``: those of the others that its keeper sees whole,
    each with its title. Of any other nothing is told. ``asked``: the last proposal that waits for
    its keeper, with the name of who made it."""

    newer: bool
    own: Sequence[tuple[Animal, str]]
    asked: Joining | None = None
    by: str = ""


def shared_number(
    others: Set[UUID], elsewhere: bool, asked: Joining | None, whole: Mapping[UUID, Animal]
) -> SharedNumber | None:
    """What keeper and partners are told; None where no other record bears a number of its.
    ``others``: those that do, of another snake; ``elsewhere``: the number is one of theirs;
    ``asked``: what waits for its keeper; ``whole``: the animals that the reader sees so."""
    if not others and asked is None:
        return None
    by = names_of([asked.by]).get(asked.by, "") if asked else ""
    return SharedNumber(elsewhere, titled(others, whole), asked, by)


def titled(others: Set[UUID], whole: Mapping[UUID, Animal]) -> list[tuple[Animal, str]]:
    """Those of them that the reader sees whole, each with its title."""
    return [(whole[one], title_of(whole[one])) for one in sorted(others & whole.keys())]


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
