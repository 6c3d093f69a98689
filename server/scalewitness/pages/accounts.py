"""Accounts as the sign-up page needs them: a keeper has a name beside the address."""

import smtplib
from typing import Any

import structlog
from allauth.account.adapter import DefaultAccountAdapter
from django import forms
from django.contrib import messages
from django.http import HttpRequest

from scalewitness.people.models import Keeper

log = structlog.get_logger()


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
