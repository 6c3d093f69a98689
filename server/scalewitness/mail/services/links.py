"""Emailed links: what opens them is derived when needed, and rests nowhere."""

from uuid import UUID

from django.core.signing import Signer
from django.utils.crypto import salted_hmac

_signer = Signer(salt="scalewitness.link")


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
