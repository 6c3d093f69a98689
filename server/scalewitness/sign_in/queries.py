"""Who has a second factor, and of which kinds."""

from collections.abc import Iterable
from typing import Literal
from uuid import UUID

from allauth.mfa.models import Authenticator
from django.conf import settings

Kind = Literal["totp", "recovery_code", "passkey"]

FACTORS = (Authenticator.Type.TOTP, Authenticator.Type.WEBAUTHN)
"""Recovery codes stand in for one of these; alone they are none."""
KINDS: dict[str, Kind] = {
    Authenticator.Type.TOTP: "totp",
    Authenticator.Type.RECOVERY_CODES: "recovery_code",
    Authenticator.Type.WEBAUTHN: "passkey",
}


def has_second_factor(keeper: UUID | None) -> bool:
    return bool(Authenticator.objects.filter(user=keeper, type__in=FACTORS).exists())


def kinds_of(keeper: UUID) -> list[Kind]:
    """What this keeper can show beside the password; empty without a second factor."""
    types: Iterable[str] = Authenticator.objects.filter(user=keeper).values_list("type", flat=True)
    found = set(types)
    return [kind for type, kind in KINDS.items() if type in found] if found & {*FACTORS} else []


def must_set_one_up(keeper: UUID) -> bool:
    """Whether the operator asks for a second factor and this keeper has none."""
    return settings.SECOND_FACTOR == "required" and not has_second_factor(keeper)
