"""Taking a second factor that is typed: a code of an app, or a recovery code."""

from base64 import b32decode
from collections.abc import Iterable
from datetime import datetime
from typing import Any
from uuid import UUID

import structlog
from allauth.mfa.models import Authenticator
from cryptography.fernet import InvalidToken
from django.conf import settings
from django.db import transaction

from scalewitness import guessing
from scalewitness.domain.errors import (
    SecondFactorMissing,
    SecondFactorNotFresh,
    SecondFactorRequired,
    SecondFactorWrong,
    TooManyAttempts,
)
from scalewitness.domain.one_time_codes import step_of
from scalewitness.people.models import Keeper
from scalewitness.sign_in.queries import kinds_of, must_set_one_up
from scalewitness.sign_in.services.letters import notify_of_factor
from scalewitness.sign_in.services.sealing import reseal, unseal

log = structlog.get_logger()

SEALED = ("secret", "seed")
TYPED = (Authenticator.Type.TOTP, Authenticator.Type.RECOVERY_CODES)


def admit(keeper: Keeper, code: str | None, now: datetime) -> None:
    """Let a keeper who gave the right password through, with the code where one is needed.

    Raises:
        SecondFactorRequired: there is no code; says which kinds there are.
        SecondFactorWrong: the code is not one of theirs.
        SecondFactorMissing: the operator asks for one, and the keeper has none.
    """
    if must_set_one_up(keeper.pk):
        raise missing()
    kinds = kinds_of(keeper.pk)
    if kinds and not code:
        raise SecondFactorRequired(kinds=kinds)
    if kinds and code:
        take_code(keeper, code, now)


def missing() -> SecondFactorMissing:
    """Says where to set one up."""
    return SecondFactorMissing(page=f"{settings.PUBLIC_URL}/accounts/2fa/")


def check_fresh(keeper: UUID, *, given: bool, path: str) -> None:
    """For what is grave: where there is a second factor, it was ``given`` just now. A device's
    token is none: it may be somebody else's device by now. ``path``: the page to do it on.

    Raises:
        SecondFactorNotFresh: it was not; says which kinds there are, and the page.
    """
    if not given and (kinds := kinds_of(keeper)):
        raise SecondFactorNotFresh(kinds=kinds, page=f"{settings.PUBLIC_URL}{path}")


def take_code(keeper: Keeper, code: str, now: datetime) -> Any:
    """The authenticator whose code it is. The code is used up, for every way in. Whoever asks
    also counts attempts by where they come from (`guessing.one_try`).

    Raises:
        SecondFactorWrong: it is nobody's, or was used before.
        TooManyAttempts: it was not looked at; the keeper is told by letter that it came so far.
    """
    _count(keeper, now)
    with transaction.atomic():
        for one in _typed(keeper):
            if _takes(one, code, now):
                one.data |= {name: reseal(one.data[name]) for name in SEALED if name in one.data}
                one.user, one.last_used_at = keeper, now
                one.save()
                guessing.code_was_right(keeper.email)
                return one
    raise SecondFactorWrong()


def _count(keeper: Keeper, now: datetime) -> None:
    over = guessing.code_tried(keeper.email)
    if over == 1:
        notify_of_factor(keeper, "codes_guessed", now)
    if over:
        raise TooManyAttempts(retry_after=guessing.CODES_ON_ACCOUNT.seconds)


def _typed(keeper: Keeper) -> Iterable[Any]:
    """Locked: of two who send the same code only one gets in."""
    rows = Authenticator.objects.select_for_update().filter(user=keeper.pk, type__in=TYPED)
    return list(rows.order_by("-type"))  # totp first: recovery codes are for when there is no app


def _takes(one: Any, code: str, now: datetime) -> bool:
    takes = _takes_step if one.type == Authenticator.Type.TOTP else _takes_recovery_code
    try:
        return takes(one, code, now)
    except InvalidToken:
        log.error("second_factor_under_a_lost_key", id=one.pk)  # SECRET_KEY_FALLBACKS lacks it
        return False


def _takes_step(one: Any, code: str, now: datetime) -> bool:
    """The step is remembered in the row, as the library's own memory of used codes is a cache
    that may be away, and forgets before a code within the drift is over."""
    secret = b32decode(unseal(one.data["secret"]))
    step = step_of(secret, code, now, one.data.get("used", -1))
    if step is not None:
        one.data["used"] = step
    return step is not None


def _takes_recovery_code(one: Any, code: str, now: datetime) -> bool:
    codes = one.wrap()
    if not codes.validate_code(code):
        return False
    one.data = codes.instance.data
    notify_of_factor(one.user, "code_used", now)
    return True
