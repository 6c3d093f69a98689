"""What a trait inherited together with sex says of a young's sex, before any check."""

from typing import Annotated, Literal

from msgspec import Meta, Struct
from msgspec.structs import replace
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import Sent, body_of
from scalewitness.domain.errors import OutOfRange
from scalewitness.domain.sexing.linked_trait import (
    ImpossibleYoung,
    LinkedTrait,
    Parents,
    linked_prior,
    linked_traits,
)

TRAIT = "coral_glow"
NO_STANDING = "This is a calculator: it records nothing and changes no standing."

CopiesSent = Literal[0, 1, 2]
Fraction = Annotated[float, Meta(ge=0, le=0.5, description="Of recombination, 0 to 0.5.")]


class LinkedParents(Sent, frozen=True, kw_only=True):
    """Copies of the trait in ``sire`` and ``dam``; ``beside`` is the sex chromosome that the
    one copy of the parent with two kinds lies beside, left out when not known; ``shows``
    what is seen on the young. ``r`` left out: the fractions keepers speak of; ``system``
    left out: the sex chromosomes of the species that the trait is known in."""

    system: Literal["XY", "ZW"] | None = None
    sire: CopiesSent
    dam: CopiesSent
    beside: Literal["X", "Y", "Z", "W"] | None = None
    shows: Literal["nothing", "one_copy", "two_copies", "some_copies"]
    r: Fraction | None = None


class LinkedPriorShown(Struct, frozen=True):
    """The chance of male to start from, with its ends over the fractions ``r_low`` to
    ``r_high``; ``cautions`` in words."""

    p_male: float
    low: float
    high: float
    r: float
    r_low: float
    r_high: float
    status: str
    note: str
    cautions: list[str]


@operation(
    "Work out a prior from a sex-linked trait",
    takes=LinkedParents,
    gives={200: LinkedPriorShown},
    refuses=(OutOfRange,),
    harmless=True,
)
def sex_linked_prior(request: Request) -> Response:
    """Records nothing and changes no standing. The published recombination fraction is not
    at hand, so without `r` the answer is a range."""
    sent = body_of(request, LinkedParents)
    trait = _trait(sent)
    try:
        found = linked_prior(trait, Parents(sent.sire, sent.dam, sent.beside), sent.shows)
    except ImpossibleYoung as problem:
        raise OutOfRange(f"{str(problem).capitalize()}.", pointer="/shows") from None
    except ValueError as problem:
        raise OutOfRange(f"{str(problem).capitalize()}.", pointer="/beside") from None
    return Response(
        LinkedPriorShown(
            p_male=found.p_male,
            low=found.low,
            high=found.high,
            r=trait.r,
            r_low=trait.low,
            r_high=trait.high,
            status=trait.status,
            note=trait.note,
            cautions=[*found.cautions, NO_STANDING],
        )
    )


def _trait(sent: LinkedParents) -> LinkedTrait:
    known = linked_traits()[TRAIT]
    trait = replace(known, system=sent.system or known.system)
    return trait if sent.r is None else replace(trait, r=sent.r, low=sent.r, high=sent.r)
