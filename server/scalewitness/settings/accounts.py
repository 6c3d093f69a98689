"""Accounts: signing in, passwords, second factors."""

from django.core.exceptions import ImproperlyConfigured

from scalewitness.settings.environment import env

AUTH_USER_MODEL = "people.Keeper"
AUTHENTICATION_BACKENDS = ["scalewitness.pages.accounts.OneAccount"]
PASSWORD_HASHERS = ["scalewitness.hashing.FewArgon2", "scalewitness.hashing.FewPBKDF2"]
HASHES_AT_ONCE = env.int("HASHES_AT_ONCE", default=2)
"""Passwords that one process hashes at a time; each takes a processor and 19 MiB."""
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in ("MinimumLengthValidator", "CommonPasswordValidator", "NumericPasswordValidator")
] + [{"NAME": "scalewitness.guessing.NoName"}, {"NAME": "scalewitness.guessing.NoPieceRepeated"}]
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*"]
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_EMAIL_VERIFICATION = "mandatory"
ACCOUNT_PREVENT_ENUMERATION = True
ACCOUNT_ADAPTER = "scalewitness.pages.accounts.library.KeeperAccounts"
ACCOUNT_FORMS = {
    "signup": "scalewitness.pages.accounts.forms.SignUpForm",
    "reset_password": "scalewitness.pages.accounts.forms.AskForm",
    "reset_password_from_key": "scalewitness.pages.accounts.forms.ResetForm",
    "change_password": "scalewitness.pages.accounts.forms.ChangeForm",
}
ACCOUNT_EMAIL_SUBJECT_PREFIX = ""
ACCOUNT_REAUTHENTICATION_REQUIRED = True
ACCOUNT_REAUTHENTICATION_TIMEOUT = 300
"""Seconds within which what is grave needs no second factor or password again. Long enough to
read a form, too short for whoever finds the screen unlocked (our judgement)."""
SECOND_FACTOR = env.str("SECOND_FACTOR", default="optional")
"""``required``: a keeper without a second factor can do nothing but set one up."""
if SECOND_FACTOR not in {"optional", "required"}:
    raise ImproperlyConfigured("SECOND_FACTOR must be optional or required")
MFA_ADAPTER = "scalewitness.pages.accounts.second_factor.Factors"
MFA_SUPPORTED_TYPES = ["totp", "recovery_codes", "webauthn"]
MFA_RECOVERY_CODES_SHOW_ONCE = True
MFA_ALLOW_UNVERIFIED_EMAIL = True
"""So that a keeper with a second factor can add another address. Who has proved none cannot set
one up: `pages.second_factor.for_owners_of_an_address`."""
MFA_FORMS = {
    "authenticate": "scalewitness.pages.accounts.second_factor_forms.SignInForm",
    "authenticate_webauthn": "scalewitness.pages.accounts.second_factor_forms.SignInPasskeyForm",
    "reauthenticate": "scalewitness.pages.accounts.second_factor_forms.ReauthForm",
    "reauthenticate_webauthn": "scalewitness.pages.accounts.second_factor_forms.ReauthPasskeyForm",
    "activate_totp": "scalewitness.pages.accounts.second_factor_forms.AppForm",
    "add_webauthn": "scalewitness.pages.accounts.second_factor_forms.PasskeyForm",
    "edit_webauthn": "scalewitness.pages.accounts.second_factor_forms.PasskeyNameForm",
}
ACCOUNT_RATE_LIMITS = {
    "change_password": "10/h/user",
    "reset_password": "20/m/ip,5/h/key",
}
"""The others as allauth has them; guesses at passwords are counted by `guessing` alone. A wrong
old password 10 times an hour, and 5 letters an hour to one address, are our judgement."""
LOGIN_REDIRECT_URL = "/"
LOGIN_URL = "/accounts/login/"
ACCOUNT_LOGOUT_REDIRECT_URL = "/"
