"""The second factor on pages: the library's views in our look, and what it asks of us."""

import json
from functools import wraps
from typing import Any
from urllib.parse import urlsplit

from allauth.mfa.adapter import DefaultMFAAdapter
from allauth.mfa.base.views import AuthenticateView
from allauth.mfa.recovery_codes.internal.flows import generate_recovery_codes
from allauth.mfa.recovery_codes.views import GenerateRecoveryCodesView
from allauth.mfa.totp.internal import flows
from allauth.mfa.totp.views import ActivateTOTPView
from allauth.mfa.webauthn.views import AddWebAuthnView, ReauthenticateWebAuthnView
from django.conf import settings
from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.pages.accounts.second_factor_forms import IN_SESSION
from scalewitness.pages.parts.qr import qr
from scalewitness.people.models import Keeper
from scalewitness.people.queries import has_verified_address
from scalewitness.sign_in.services.letters import notify_of_factor
from scalewitness.sign_in.services.sealing import seal, unseal

View = Any


class Factors(DefaultMFAAdapter):
    """Secrets rest sealed; names are those of this record, whatever Host a request gives."""

    def encrypt(self, text: str) -> str:
        return seal(text)

    def decrypt(self, encrypted_text: str) -> str:
        return unseal(encrypted_text)

    def get_totp_issuer(self) -> str:
        return f"Scalewitness {urlsplit(settings.PUBLIC_URL).netloc}"

    def build_totp_svg(self, url: str) -> str:
        return qr(url, title="QR code of the secret below it")

    def generate_authenticator_name(self, user: Keeper, type: str) -> str:
        return ""

    def get_public_key_credential_rp_entity(self) -> dict[str, str]:
        host = urlsplit(settings.PUBLIC_URL).hostname or ""
        return {"id": host, "name": "Scalewitness"}


def for_owners_of_an_address(view: View) -> View:
    """Only after the address is proved: else somebody who signed up with another's address
    could shut its owner out for good."""

    @wraps(view)
    def answer(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        keeper = request.user
        if isinstance(keeper, Keeper) and not has_verified_address(keeper):
            messages.error(request, "Confirm your address first; then set up a second factor.")
            return redirect("mfa_index")
        answered: HttpResponseBase = view(request, *args, **kwargs)
        return answered

    return answer


class _Options:
    """What the browser's part of a passkey needs, as text for an attribute: the content policy
    lets no script stand in a page."""

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        found: dict[str, Any] = super().get_context_data(**kwargs)  # type: ignore[misc]
        asked = found.get("js_data", {})
        options = asked.get("creation_options") or asked.get("request_options")
        if "creation_options" in asked or options["publicKey"].get("allowCredentials"):
            found["options"] = json.dumps(options)
        return found


class SignInStep(_Options, AuthenticateView):
    """After the password."""


class ReauthByPasskey(_Options, ReauthenticateWebAuthnView):
    """A passkey once more."""


class AddPasskey(_Options, AddWebAuthnView):
    """Another passkey."""


class SetUpApp(ActivateTOTPView):
    """An authenticator app. The code that shows it works is used up by that."""

    @transaction.atomic
    def form_valid(self, form: Any) -> HttpResponse:
        app, codes = flows.activate_totp(self.request, form)
        app.data["used"] = form.step
        app.save()
        notify_of_factor(app.user, "totp_added", timezone.now())
        self.request.session.pop(IN_SESSION, None)
        return redirect("mfa_view_recovery_codes" if codes else "mfa_index")


class NewCodes(GenerateRecoveryCodesView):
    """Other recovery codes in place of those there are."""

    @transaction.atomic
    def form_valid(self, form: Any) -> HttpResponse:
        made = generate_recovery_codes(self.request)
        notify_of_factor(made.user, "codes_made", timezone.now())
        return redirect("mfa_view_recovery_codes")
