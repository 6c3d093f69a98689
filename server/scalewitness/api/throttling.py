"""How often someone may try."""

from time import time
from typing import Any
from uuid import UUID

from django.conf import settings
from rest_framework.exceptions import Throttled
from rest_framework.request import Request
from rest_framework.throttling import SimpleRateThrottle
from rest_framework.views import APIView

from scalewitness.rate_limit import address_of, attempts, one_too_many, take_back


class _Throttle(SimpleRateThrottle):
    """Counts anew in each minute (or what else the rate is for)."""

    scope: str
    num_requests: int
    duration: int
    """Seconds."""

    def allow_request(self, request: Request, view: APIView) -> bool:
        seconds = self.duration
        self.now = time()
        key = f"{self.get_cache_key(request, view)}:{int(self.now // seconds)}"
        return not one_too_many(key, self.num_requests, seconds)

    def wait(self) -> float:
        """Seconds until it counts anew."""
        return self.duration - self.now % self.duration


class PerAddress(_Throttle):
    """Per network address."""

    def get_cache_key(self, request: Request, view: APIView) -> str:
        return self.cache_format % {"scope": self.scope, "ident": address_of(request)}


class PerKeeper(_Throttle):
    """Per signed-in keeper."""

    def get_cache_key(self, request: Request, view: APIView) -> str:
        return self.cache_format % {"scope": self.scope, "ident": request.user.pk}


class PerDevice(_Throttle):
    """Per signed-in device."""

    def get_cache_key(self, request: Request, view: APIView) -> str:
        token: Any = request.auth
        return self.cache_format % {"scope": self.scope, "ident": token.pk}


class SignIn(PerAddress):
    scope = "sign_in"


class DeviceToken(PerAddress):
    scope = "device_token"


class SignUp(PerAddress):
    scope = "sign_up"


class LookUp(PerKeeper):
    scope = "look_up"


class WitnessRate(PerKeeper):
    scope = "witness"


class BringingCheckpoints(PerAddress):
    scope = "met"


class Feed(PerDevice):
    scope = "changes"


class Pushing(PerDevice):
    scope = "push"


class Photos(PerDevice):
    scope = "photos"


def count_items(keeper: UUID, items: int) -> None:
    """Counts what a keeper sends, from all of their devices, in items: a push of hundreds is
    not one try. What is refused does not count.

    Raises:
        Throttled: it is more than ``PUSH_ITEMS_A_MINUTE``.
    """
    now, minute = time(), 60
    key = f"items:{keeper}:{int(now // minute)}"
    if attempts(key, minute, items) > settings.PUSH_ITEMS_A_MINUTE:
        take_back(key, minute, items)
        raise Throttled(wait=minute - now % minute)


THROTTLES: dict[str, type[_Throttle]] = {
    one.scope: one
    for one in (
        SignIn,
        SignUp,
        DeviceToken,
        LookUp,
        WitnessRate,
        BringingCheckpoints,
        Feed,
        Pushing,
        Photos,
    )
}
