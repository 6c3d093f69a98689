"""Every address of the accounts' library that is in use. Those it has besides are not reachable:
each would be one more way in to watch."""

from allauth.account import views as account
from allauth.mfa.base import views as factor
from allauth.mfa.recovery_codes import views as recovery
from allauth.mfa.totp import views as app
from allauth.mfa.webauthn import views as passkeys
from django.db.transaction import atomic
from django.urls import path, re_path
from django.views.decorators.cache import never_cache

from scalewitness.pages.accounts.library import ConfirmAddress, change_password
from scalewitness.pages.accounts.second_factor import (
    AddPasskey,
    NewCodes,
    ReauthByPasskey,
    SetUpApp,
    SignInStep,
    for_owners_of_an_address,
)
from scalewitness.pages.parts.access import asked_again

urlpatterns = [
    path("login/", account.login, name="account_login"),
    path("logout/", account.logout, name="account_logout"),
    path("inactive/", account.account_inactive, name="account_inactive"),
    path("signup/", account.signup, name="account_signup"),
    path("reauthenticate/", never_cache(account.reauthenticate), name="account_reauthenticate"),
    path("email/", never_cache(asked_again(account.email)), name="account_email"),
    path("confirm-email/", account.email_verification_sent, name="account_email_verification_sent"),
    path(
        "confirm-email/<str:key>/",
        never_cache(ConfirmAddress.as_view()),
        name="account_confirm_email",
    ),
    path(
        "password/change/",
        never_cache(change_password),
        name="account_change_password",
    ),
    path("password/reset/", account.password_reset, name="account_reset_password"),
    path("password/reset/done/", account.password_reset_done, name="account_reset_password_done"),
    re_path(
        r"^password/reset/key/(?P<uidb36>[0-9A-Za-z]+)-(?P<key>.+)/$",
        account.password_reset_from_key,
        name="account_reset_password_from_key",
    ),
    path(
        "password/reset/key/done/",
        account.password_reset_from_key_done,
        name="account_reset_password_from_key_done",
    ),
    # --- the second factor
    path("2fa/", never_cache(factor.index), name="mfa_index"),
    path("2fa/authenticate/", never_cache(SignInStep.as_view()), name="mfa_authenticate"),
    path("2fa/reauthenticate/", never_cache(factor.reauthenticate), name="mfa_reauthenticate"),
    path(
        "2fa/app/set-up/",
        never_cache(for_owners_of_an_address(SetUpApp.as_view())),
        name="mfa_activate_totp",
    ),
    path("2fa/app/removal/", never_cache(atomic(app.deactivate_totp)), name="mfa_deactivate_totp"),
    path(
        "2fa/recovery-codes/",
        never_cache(recovery.view_recovery_codes),
        name="mfa_view_recovery_codes",
    ),
    path(
        "2fa/recovery-codes/new/",
        never_cache(NewCodes.as_view()),
        name="mfa_generate_recovery_codes",
    ),
    path("2fa/passkeys/", never_cache(passkeys.list_webauthn), name="mfa_list_webauthn"),
    path(
        "2fa/passkeys/new/",
        never_cache(for_owners_of_an_address(atomic(AddPasskey.as_view()))),
        name="mfa_add_webauthn",
    ),
    path(
        "2fa/passkeys/reauthenticate/",
        never_cache(ReauthByPasskey.as_view()),
        name="mfa_reauthenticate_webauthn",
    ),
    path(
        "2fa/passkeys/<int:pk>/removal/",
        never_cache(atomic(passkeys.remove_webauthn)),
        name="mfa_remove_webauthn",
    ),
    path(
        "2fa/passkeys/<int:pk>/name/", never_cache(passkeys.edit_webauthn), name="mfa_edit_webauthn"
    ),
]
