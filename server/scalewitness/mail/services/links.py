"""Emailed links: what opens them is derived when needed, and rests nowhere."""

from datetime import timedelta
from typing import Final
from uuid import UUID

from django.core.signing import Signer, TimestampSigner
from django.utils.crypto import salted_hmac

_signer = Signer(salt="scalewitness.link")
_sign_outs = TimestampSigner(salt="scalewitness.sign-out")

SIGN_OUT_FOR: Final = timedelta(days=30)
"""How long the link that signs out everywhere works (our judgement: letters are read late, and
the worst it can do is to have somebody sign in again)."""


def link_token(link: UUID) -> str:
    """The token of an emailed link; derived when needed, so it never rests in a table."""
    return _signer.sign(link.hex)


def link_of(token: str) -> UUID:
    """The link a token stands for, also under an earlier key of `SECRET_KEY_FALLBACKS`;
    says nothing of expiry or revocation.

    Raises:
        django.core.signing.BadSignature: this server did not sign it.
    """
    return UUID(hex=_signer.unsign(token))


def code_of(code: UUID) -> str:
    """Six digits to be typed in; derived like a link."""
    digest = salted_hmac("scalewitness.code", code.hex, algorithm="sha256").digest()
    return f"{int.from_bytes(digest[:8]) % 1_000_000:06}"


def sign_out_token(keeper: UUID) -> str:
    """What opens the page that signs a keeper out everywhere; works from now for a time."""
    return _sign_outs.sign(keeper.hex)


def keeper_signing_out(token: str) -> UUID:
    """Whose devices the token ends.

    Raises:
        django.core.signing.BadSignature: this server did not sign it, or it is too old.
    """
    return UUID(hex=_sign_outs.unsign(token, max_age=SIGN_OUT_FOR))
