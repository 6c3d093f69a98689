"""A device's token says who sends and from where."""

from typing import Any

from knox.auth import TokenAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from scalewitness.domain.errors import NotFound
from scalewitness.intake.batch import Actor
from scalewitness.people.models import Device, Keeper


class DeviceTokens(TokenAuthentication):
    """``Authorization: Bearer TOKEN``; tokens are hashed at rest and revocable."""

    def authenticate_credentials(self, token: bytes) -> Any:
        if not token.isalnum():  # also what cannot be decoded
            raise AuthenticationFailed("Invalid token.")
        return super().authenticate_credentials(token)

    def _cleanup_token(self, auth_token: Any) -> bool:
        """Tokens end by being revoked, never by themselves (``TOKEN_TTL`` None), so the
        keeper's others need not be looked through at each request."""
        return False


def keeper_of(request: Request) -> Keeper:
    keeper = request.user
    if not isinstance(keeper, Keeper):
        raise NotFound()
    return keeper


def actor_of(request: Request) -> Actor:
    """The keeper and device behind a request."""
    token: Any = request.auth
    device = Device.objects.filter(token=token).values_list("pk", flat=True).first()
    return Actor(keeper=keeper_of(request).pk, device=device)
