"""allauth's pages as ours: one account an address, letters that are queued, one rate limit."""

from typing import Any, ClassVar

from allauth.account.adapter import DefaultAccountAdapter
from allauth.account.models import EmailAddress
from allauth.account.views import ConfirmEmailView, password_change
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness import guessing
from scalewitness.domain.errors import TooManyAttempts, WrongCredentials
from scalewitness.intake.accounts import confirm_address
from scalewitness.letters import accounts as account_letters
from scalewitness.pages.parts.access import asked_again
from scalewitness.rate_limit import address_of
from scalewitness.sign_in.queries import kinds_of
from scalewitness.sign_in.services.letters import Event, notify_of_factor

FACTOR_EVENTS: dict[str, Event] = {
    "mfa/email/totp_deactivated": "totp_removed",
    "mfa/email/webauthn_added": "passkey_added",
    "mfa/email/webauthn_removed": "passkey_removed",
}


class KeeperAccounts(DefaultAccountAdapter):
    """Leaves user names out; the address is the way in. Letters are ours."""

    error_messages: ClassVar[dict[str, Any]] = {
        **DefaultAccountAdapter.error_messages,
        "too_many_login_attempts": "Too many failed attempts. Wait a while, or have a "
        "letter sent that sets a new password: “I forgot it”.",
    }

    def populate_username(self, request: HttpRequest, user: Any) -> None:
        return None

    def get_reauthentication_methods(self, user: Any) -> list[dict[str, Any]]:
        """With a second factor it alone counts: a password may be known to somebody else."""
        ways: list[dict[str, Any]] = super().get_reauthentication_methods(user)
        factors = [one for one in ways if one["id"] != "reauthenticate"]
        if user.is_authenticated and "totp" not in kinds_of(user.pk):
            factors.reverse()  # recovery codes are for when there is nothing else
        return factors or ways

    def send_notification_mail(
        self, template_prefix: str, user: Any, *args: Any, **kw: Any
    ) -> None:
        """The library's notices, as letters of ours. It sends some only after the commit;
        those are owed by `pages.second_factor`, with what they tell of."""
        if (event := FACTOR_EVENTS.get(template_prefix)) is not None:
            notify_of_factor(user, event, timezone.now())
        if template_prefix == "account/email/email_changed":
            account_letters.signing_in_moved(user, kw["email"], timezone.now())

    def send_confirmation_mail(
        self, request: HttpRequest, emailconfirmation: Any, signup: bool
    ) -> None:
        account_letters.confirm_address(emailconfirmation.email_address, timezone.now())

    def get_client_ip(self, request: HttpRequest) -> str:
        """For everything allauth counts by address."""
        return address_of(request)

    def pre_authenticate(self, request: HttpRequest, **credentials: Any) -> None:
        """Without allauth's own counts, which the API does not have, and by which anybody could
        keep a keeper out."""

    def authenticate(self, request: HttpRequest, **credentials: Any) -> Any:
        try:
            with guessing.one_try(credentials.get("email", ""), address_of(request)):
                keeper = super().authenticate(request, **credentials)
                if keeper is None:
                    raise WrongCredentials()
        except TooManyAttempts:
            raise self.validation_error("too_many_login_attempts") from None
        except WrongCredentials:
            return None
        return keeper

    def _delete_login_attempts_cached_email(self, request: HttpRequest, **credentials: Any) -> None:
        """A new password was set by a letter."""
        guessing.start_anew(credentials.get("email", ""), address_of(request))


def change_password(request: HttpRequest) -> HttpResponse:
    """Asks for the old password by itself; before that only for the second factor, if any."""
    view = password_change
    if request.user.is_authenticated and kinds_of(request.user.pk):
        view = asked_again(view)
    answer: HttpResponse = view(request)
    return answer


class ConfirmAddress(ConfirmEmailView):
    """Confirming takes the letter and the account together: who reads it but did not make the
    account is not led to confirm what somebody else made."""

    wrong = ""

    def post(self, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            self.object = self.get_object()
        except Http404:
            self.object = None
            return self._shown()
        address: EmailAddress = self.object.email_address
        if not address.can_set_verified() or not self._is_theirs(address):
            return self._shown()
        confirm_address(address, timezone.now())
        messages.success(self.request, f"{address.email} is confirmed.")
        return redirect("account_email" if self.request.user.is_authenticated else "account_login")

    def _shown(self) -> HttpResponse:
        shown: HttpResponse = self.render_to_response(self.get_context_data())
        return shown

    def _is_theirs(self, address: EmailAddress) -> bool:
        if self.request.user.pk == address.user_id:
            return True
        try:
            with guessing.one_try(address.email, address_of(self.request)):
                if not address.user.check_password(self.request.POST.get("password", "")):
                    raise WrongCredentials()
        except TooManyAttempts as refused:
            self.wrong = f"{refused.detail}."
        except WrongCredentials:
            self.wrong = "That is not the password of this account."
        return not self.wrong

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        shown: dict[str, Any] = super().get_context_data(**kwargs)
        theirs = self.object and self.request.user.pk == self.object.email_address.user_id
        return {**shown, "asks_password": not theirs, "wrong": self.wrong}
