"""What the standing would be if a call were made."""

from uuid import UUID

import msgspec
from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.reading import Sent, body_of
from scalewitness.api.shapes import planning as shapes
from scalewitness.calls.queries.visibility import animal_open
from scalewitness.domain.errors import OutOfRange, WrongShape
from scalewitness.domain.observations import Conclusion, Method, Observation, Sureness, method_of
from scalewitness.domain.sexing.evidence import Role
from scalewitness.domain.sexing.findings import NoSuchFinding
from scalewitness.planning.supposing import SupposedAnswer, suppose


class Supposition(Sent, frozen=True, kw_only=True):
    """``blind``: its examiner knew no earlier answer. ``mine``: my own call, which is never
    blind. ``confirmed``: in another role, they confirm what I report of them. ``observed``: what
    the method usually shows with that conclusion when absent."""

    method: Method
    conclusion: Conclusion
    role: Role = "keeper"
    blind: bool = True
    mine: bool = False
    confirmed: bool = False
    sureness: Sureness = "certain"
    observed: Observation | None = None


@operation(
    "Suppose a call",
    takes=Supposition,
    gives={200: shapes.Supposed},
    refuses=(OutOfRange,),
    harmless=True,
)
def suppose_call(request: Request, id: UUID) -> Response:
    """The standing before and after. Nothing is recorded: the call was not made."""
    sent, keeper, now = body_of(request, Supposition), keeper_of(request).pk, timezone.now()
    animal = animal_open(keeper, id, now)
    if sent.observed is not None and method_of(sent.observed) != sent.method:
        raise WrongShape("It is another method's.", pointer="/observed/method")
    call = msgspec.convert(msgspec.structs.asdict(sent), SupposedAnswer)
    try:
        return Response(shapes.supposed(animal.pk, suppose(animal, call, keeper, now)))
    except NoSuchFinding as problem:
        detail = f"{str(problem)[:1].upper()}{str(problem)[1:]}."
        raise OutOfRange(detail, pointer="/conclusion") from None
