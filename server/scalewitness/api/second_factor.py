"""A fresh second factor beside a device's token, for what is grave."""

from django.utils import timezone
from rest_framework.request import Request

from scalewitness import guessing
from scalewitness.api.authentication import actor_of, keeper_of
from scalewitness.domain.errors import SecondFactorNotTaken, SecondFactorWrong
from scalewitness.intake.batch import Actor
from scalewitness.rate_limit import address_of
from scalewitness.sign_in.queries import has_second_factor
from scalewitness.sign_in.services.codes import take_code

HEADER = "Second-Factor-Code"


def proved_actor(request: Request) -> Actor:
    """The keeper behind the request, ``proved`` if it brings a code, which is used up by that.

    Raises:
        SecondFactorNotTaken: the code is wrong. Not 401: the token is still good.
    """
    actor, keeper = actor_of(request), keeper_of(request)
    code = request.headers.get(HEADER)
    if code is None or not has_second_factor(keeper.pk):
        return actor
    try:
        with guessing.one_try(keeper.email, address_of(request)):
            take_code(keeper, code, timezone.now())
    except SecondFactorWrong:
        raise SecondFactorNotTaken() from None
    return Actor(keeper=actor.keeper, device=actor.device, proved=True)
