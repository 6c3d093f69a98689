"""Emailed links: what opens them is derived when needed, and rests nowhere."""

from datetime import timedelta
from typing import Final
from uuid import UUID

from allauth.account import app_settings
from allauth.account.models import EmailAddress, EmailConfirmationHMAC
from allauth.account.utils import user_pk_to_url_str
from django.contrib.auth import get_user_model
from django.core.signing import Signer, TimestampSigner
from django.urls import reverse
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


def confirmation_path(address: int) -> str:
    """The page that confirms an address, by the id of its row."""
    key = EmailConfirmationHMAC(EmailAddress(pk=address)).key
    return reverse("account_confirm_email", args=[key])


def new_password_path(keeper: UUID) -> str:
    """The page that sets a new password, once; where there is no such keeper any more, the one
    that asks for a letter."""
    found = get_user_model().objects.filter(pk=keeper).first()
    if found is None:
        return reverse("account_reset_password")
    key = app_settings.PASSWORD_RESET_TOKEN_GENERATOR().make_token(found)
    named = {"uidb36": user_pk_to_url_str(found), "key": key}
    return reverse("account_reset_password_from_key", kwargs=named)


def sign_out_token(keeper: UUID) -> str:
    """What opens the page that signs a keeper out everywhere; works from now for a time."""
    return _sign_outs.sign(keeper.hex)


def keeper_signing_out(token: str) -> UUID:
    """Whose devices the token ends.

    Raises:
        django.core.signing.BadSignature: this server did not sign it, or it is too old.
    """
    return UUID(hex=_sign_outs.unsign(token, max_age=SIGN_OUT_FOR))
