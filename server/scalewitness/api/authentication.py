"""A device's token says who sends and from where."""

from collections.abc import Sequence
from hmac import compare_digest
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet
from django.utils import timezone
from knox.auth import TokenAuthentication
from knox.crypto import hash_token
from knox.models import AuthToken
from knox.settings import CONSTANTS
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from scalewitness.domain.errors import AddressUnconfirmed, NotFound
from scalewitness.intake.batch import Actor
from scalewitness.ledger.queries.prepared import Prepared, columns, maker
from scalewitness.people.models import Keeper
from scalewitness.people.queries import confirmed_addresses
from scalewitness.people.services import token_used


class DeviceTokens(TokenAuthentication):
    """``Authorization: Bearer TOKEN``; tokens are hashed at rest and revocable.

    They end by being revoked, or when nobody uses them for long (``TOKEN_TTL``).
    """

    def authenticate_credentials(self, token: bytes) -> Any:
        if token.isalnum():  # else it may not even be text
            text = token.decode()
            digest = hash_token(text)
            for row in TOKENS.ask(begins=text[: CONSTANTS.TOKEN_KEY_LENGTH]):
                kept, now = _token(row), timezone.now()
                if compare_digest(digest, kept.digest) and kept.expiry > now:
                    token_used(kept, now)
                    return self.validate_user(kept)
        raise AuthenticationFailed("Invalid token.")


def _tokens(begins: str) -> "QuerySet[Any, Any]":
    owner = (f"user__{one}" for one in columns(Keeper))
    rows: QuerySet[Any, Any] = AuthToken.objects.filter(token_key=begins)
    confirmed = Exists(confirmed_addresses(OuterRef("user")))
    return rows.values_list(*columns(AuthToken), *owner, "device__id", confirmed)


TOKENS = Prepared(_tokens, begins="a token begins so")


def _token(row: Sequence[Any]) -> Any:
    """With its keeper, the id of its device as ``sent_from``, and whether the keeper's address
    is ``confirmed``."""
    width = len(columns(AuthToken))
    token: Any = maker(AuthToken)(row[:width])
    token.user = maker(Keeper)(row[width:-2])
    token.sent_from, token.confirmed = row[-2:]
    return token


def check_confirmed(request: Request) -> None:
    """Whoever has not proved their address yet records nothing, and finds nobody by theirs.

    Raises:
        AddressUnconfirmed: a keeper asks who has not.
    """
    token: Any = request.auth
    if token is not None and not token.confirmed:
        raise AddressUnconfirmed()


def keeper_of(request: Request) -> Keeper:
    keeper = request.user
    if not isinstance(keeper, Keeper):
        raise NotFound()
    return keeper


def actor_of(request: Request) -> Actor:
    """The keeper and device behind a request."""
    token: Any = request.auth
    return Actor(keeper=keeper_of(request).pk, device=token.sent_from)
