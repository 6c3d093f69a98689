"""Forms of the account's pages, in the place of allauth's: what they do is `intake.accounts`."""

from typing import Any
from zoneinfo import available_timezones

from allauth.account.adapter import get_adapter
from allauth.account.forms import (
    ChangePasswordForm,
    ResetPasswordForm,
    ResetPasswordKeyForm,
    SignupForm,
)
from allauth.core import context
from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from scalewitness import guessing
from scalewitness.domain.errors import OutOfRange
from scalewitness.intake import accounts
from scalewitness.people.queries import has_verified_address
from scalewitness.people.services import check_password_is_strong
from scalewitness.rate_limit import address_of


class SignUpForm(SignupForm):
    """It answers the same whether or not the address has an account."""

    name = forms.CharField(max_length=80, label="Your name, as other keepers will see it")
    time_zone = forms.CharField(
        max_length=64,
        required=False,
        widget=forms.HiddenInput(attrs={"data-browsers-zone": ""}),
    )
    """The browser's; one that the record does not know counts as none."""
    field_order = ("name", "email", "password1", "time_zone")

    def validate_unique_email(self, value: str) -> str:
        self.account_already_exists = False
        return value

    def clean(self) -> dict[str, Any]:
        super().clean()
        sent: dict[str, Any] = self.cleaned_data
        try:
            check_password_is_strong(
                sent.get("password1", ""), name=sent.get("name", ""), email=sent.get("email", "")
            )
        except OutOfRange as weak:
            if "password1" not in self.errors:
                self.add_error("password1", weak.detail)
        return sent

    def try_save(self, request: HttpRequest) -> tuple[None, HttpResponse]:
        sent = self.cleaned_data
        accounts.open_account(
            name=sent["name"],
            email=sent["email"],
            password=sent["password1"],
            now=timezone.now(),
            zone=sent["time_zone"] if sent["time_zone"] in available_timezones() else "",
        )
        return None, get_adapter().respond_email_verification_sent(request, None)


class AskForm(ResetPasswordForm):
    """For a letter that sets a new password."""

    def clean_email(self) -> str:
        return str(get_adapter().clean_email(self.cleaned_data["email"].lower()))

    def save(self, request: HttpRequest, **_: Any) -> str:
        email = str(self.cleaned_data["email"])
        accounts.ask_for_new_password(email, timezone.now())
        return email


class ResetForm(ResetPasswordKeyForm):
    """By the link in a letter. Where the address had not been confirmed, somebody else may have
    made the account, and what is asked besides keeps their doings apart."""

    name = forms.CharField(
        max_length=80,
        required=False,
        label="Your name, as other keepers will see it",
        help_text="You can also give it later. Whoever made this account had not confirmed it.",
    )
    theirs = forms.ChoiceField(
        choices=(("yes", "That was me: keep it"), ("no", "That was not me: start with nothing")),
        widget=forms.RadioSelect,
        label="This account was used before its address was confirmed. Was that you?",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.user is None or has_verified_address(self.user):
            del self.fields["name"]
        if self.user is None or not accounts.is_in_question(self.user):
            del self.fields["theirs"]

    def save(self) -> None:
        sent, asked = self.cleaned_data, context.request
        address = self.user.email
        accounts.reset_password(
            self.user,
            sent["password1"],
            timezone.now(),
            name=sent.get("name", ""),
            theirs=sent.get("theirs", "yes") == "yes",
        )
        guessing.start_anew(address, address_of(asked))


class ChangeForm(ChangePasswordForm):
    keep_devices = forms.BooleanField(
        required=False,
        label="Keep my devices signed in. Leave this empty if somebody else may know the old one.",
    )

    def save(self) -> None:
        accounts.change_password(
            self.user,
            self.cleaned_data["password1"],
            timezone.now(),
            keep_devices=self.cleaned_data["keep_devices"],
        )
