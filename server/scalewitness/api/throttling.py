"""How often someone may try."""

from time import time
from typing import Any

from rest_framework.request import Request
from rest_framework.throttling import SimpleRateThrottle
from rest_framework.views import APIView

from scalewitness.tries import address_of, one_too_many


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


class Link(PerAddress):
    scope = "link"


class SignIn(PerAddress):
    scope = "sign_in"


class DeviceToken(PerAddress):
    scope = "device_token"


class SignUp(PerAddress):
    scope = "sign_up"


class LookUp(PerKeeper):
    scope = "look_up"


class Witness(PerKeeper):
    scope = "witness"


class Feed(PerDevice):
    scope = "changes"


class Pushing(PerDevice):
    scope = "push"


class Photos(PerDevice):
    scope = "photos"


THROTTLES: dict[str, type[_Throttle]] = {
    one.scope: one
    for one in (Link, SignIn, SignUp, DeviceToken, LookUp, Witness, Feed, Pushing, Photos)
}
