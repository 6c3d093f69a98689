"""Typing a code, or showing a passkey: the library's forms, with codes taken our way."""

from base64 import b32decode, b32encode
from collections.abc import Callable
from os import urandom
from typing import Any

import structlog
from allauth.core import context
from allauth.mfa.base.forms import AuthenticateForm, ReauthenticateForm
from allauth.mfa.webauthn.forms import (
    AddWebAuthnForm,
    AuthenticateWebAuthnForm,
    EditWebAuthnForm,
    ReauthenticateWebAuthnForm,
)
from allauth.mfa.webauthn.internal import auth
from cryptography.fernet import InvalidToken
from django import forms
from django.db import DatabaseError
from django.utils import timezone

from scalewitness import guessing
from scalewitness.domain.errors import Refused
from scalewitness.domain.one_time_codes import step_of
from scalewitness.people.models import Keeper
from scalewitness.rate_limit import address_of
from scalewitness.sign_in.services.codes import take_code
from scalewitness.sign_in.services.sealing import seal, unseal

log = structlog.get_logger()

IN_SESSION = "second_factor_secret"
SECRET_BYTES = 20
"""As RFC 4226, 4 (R6) recommends."""
NOT_THAT_KEY = "That passkey was not taken. Try again."


def code_field(label: str, help_text: str) -> forms.CharField:
    widget = forms.TextInput(attrs={"autocomplete": "one-time-code", "inputmode": "numeric"})
    return forms.CharField(label=label, help_text=help_text, max_length=20, widget=widget)


class _Code(forms.Form):
    code = code_field("Code", "From your authenticator app; or one of your recovery codes.")

    user: Keeper
    authenticator: Any

    def clean_code(self) -> str:
        code: str = self.cleaned_data["code"]
        try:
            with guessing.one_try(self.user.email, address_of(context.request)):
                self.authenticator = take_code(self.user, code, timezone.now())
        except Refused as refused:
            raise forms.ValidationError(refused.detail) from None
        return code


class SignInForm(_Code, AuthenticateForm):
    """The second step of signing in."""


class ReauthForm(_Code, ReauthenticateForm):
    """Once more, before something grave."""


class AppForm(forms.Form):
    """Setting up an authenticator app. Its secret waits in the session, sealed, until a code
    shows that the app has it."""

    code = code_field("Code", "The six digits that the app shows now.")

    def __init__(self, *args: Any, user: Keeper, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.secret = _waiting() if self.is_bound else None
        if self.secret is None:
            self.secret = b32encode(urandom(SECRET_BYTES)).decode()
            context.request.session[IN_SESSION] = seal(self.secret)

    def clean_code(self) -> str:
        code: str = self.cleaned_data["code"]
        self.step = step_of(b32decode(str(self.secret)), code, timezone.now())
        if self.step is None:
            raise forms.ValidationError(
                "This is not the code of the secret shown here. Is the clock of your phone right?"
            )
        return code


def _waiting() -> str | None:
    try:
        return unseal(context.request.session.get(IN_SESSION, ""))
    except InvalidToken:
        return None


class _Passkey:
    """Nothing can be guessed here, so nothing is counted: else whoever knows a password could
    keep its owner out."""

    user: Keeper
    cleaned_data: dict[str, Any]

    def clean_credential(self) -> Any:
        credential = self.cleaned_data["credential"]
        return taken(lambda: auth.complete_authentication(self.user, credential))


class SignInPasskeyForm(_Passkey, AuthenticateWebAuthnForm):
    """The second step of signing in."""


class ReauthPasskeyForm(_Passkey, ReauthenticateWebAuthnForm):
    """Once more, before something grave."""


class PasskeyForm(AddWebAuthnForm):
    name = forms.CharField(
        label="What to call it", max_length=60, help_text="So that you know it in the list."
    )

    def clean(self) -> Any:
        return taken(super().clean)


class PasskeyNameForm(EditWebAuthnForm):
    name = forms.CharField(label="What to call it", max_length=60)


def taken(work: Callable[[], Any]) -> Any:
    """What comes of a credential; anything that is none is refused. What no browser sends, and
    a signature that does not fit, leave the library as faults of many kinds.

    Raises:
        ValidationError: it was not taken.
    """
    try:
        return work()
    except DatabaseError:
        raise
    except Exception as fault:
        log.info("passkey_not_taken", error=type(fault).__name__)
        raise forms.ValidationError(NOT_THAT_KEY) from None
