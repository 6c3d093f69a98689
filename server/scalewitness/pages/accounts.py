"""Accounts as the sign-up page needs them: a keeper has a name beside the address."""

import smtplib
from typing import Any, ClassVar

import structlog
from allauth.account.adapter import DefaultAccountAdapter
from django import forms
from django.contrib import messages
from django.http import HttpRequest
from django.utils import timezone

from scalewitness import guessing
from scalewitness.domain.errors import TooManyTries
from scalewitness.people.models import Keeper
from scalewitness.sign_in.services.letters import Event, tell_of_factor
from scalewitness.tries import address_of

log = structlog.get_logger()

FACTOR_EVENTS: dict[str, Event] = {
    "mfa/email/totp_deactivated": "totp_removed",
    "mfa/email/webauthn_added": "passkey_added",
    "mfa/email/webauthn_removed": "passkey_removed",
}


class NameForm(forms.Form):
    """Added to the sign-up form. Other keepers see this name beside your calls."""

    name = forms.CharField(max_length=80, label="Your name, as other keepers will see it")
    field_order = ("name", "email", "password1")

    def signup(self, request: HttpRequest, user: Keeper) -> None:
        user.name = self.cleaned_data["name"]
        user.save()


class KeeperAccounts(DefaultAccountAdapter):
    """Leaves user names out; the address is the way in."""

    def populate_username(self, request: HttpRequest, user: Any) -> None:
        return None

    def get_reauthentication_methods(self, user: Any) -> list[dict[str, Any]]:
        """With a second factor it alone counts: a password may be known to somebody else."""
        ways: list[dict[str, Any]] = super().get_reauthentication_methods(user)
        return [one for one in ways if one["id"] != "reauthenticate"] or ways

    def send_notification_mail(
        self, template_prefix: str, user: Any, *args: Any, **kw: Any
    ) -> None:
        """The library's notices, as letters of ours. It sends some only after the commit;
        those are owed by `pages.second_factor`, with what they tell of."""
        if (event := FACTOR_EVENTS.get(template_prefix)) is not None:
            tell_of_factor(user, event, timezone.now())

    error_messages: ClassVar[dict[str, Any]] = {
        **DefaultAccountAdapter.error_messages,
        "too_many_login_attempts": "Too many wrong tries just now. Wait a while, or have a "
        "letter sent that sets a new password: “I forgot it”.",
    }

    def get_client_ip(self, request: HttpRequest) -> str:
        """For everything allauth counts by address."""
        return address_of(request)

    def pre_authenticate(self, request: HttpRequest, **credentials: Any) -> None:
        """In the place of allauth's own counts, which the API does not have, and by which
        anybody could keep a keeper out."""
        try:
            guessing.begin(credentials.get("email", ""), address_of(request))
        except TooManyTries:
            raise self.validation_error("too_many_login_attempts") from None

    def authenticate(self, request: HttpRequest, **credentials: Any) -> Any:
        keeper = super().authenticate(request, **credentials)
        if keeper is not None:
            guessing.got_in(credentials.get("email", ""), address_of(request))
        return keeper

    def _delete_login_attempts_cached_email(self, request: HttpRequest, **credentials: Any) -> None:
        """A new password was set by a letter."""
        guessing.start_anew(credentials.get("email", ""), address_of(request))

    def send_mail(self, template_prefix: str, email: str, context: dict[str, Any]) -> None:
        """Send at once: the link inside is a secret that must not rest in a table of letters.
        A mail host that is down costs the letter, not the account; the page says so."""
        try:
            super().send_mail(template_prefix, email, context)
        except (smtplib.SMTPException, OSError) as problem:
            log.warning("account_letter_failed", error=str(problem))
            messages.error(
                self.request,
                "A letter to you could not be sent just now. Ask for it again in a few minutes.",
            )
