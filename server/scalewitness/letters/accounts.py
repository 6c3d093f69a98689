"""Letters about one's own account: what changed, when, and the way to undo it at once.

They name nobody but the keeper they go to. Their links are derived when a letter is composed.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final
from uuid import UUID, uuid5

import structlog
from allauth.account.models import EmailAddress
from django.db import transaction
from django.utils.crypto import salted_hmac

from scalewitness.fresh_ids import fresh_id
from scalewitness.mail.services import queueing as mail
from scalewitness.people.models import UNNAMED, Device, Keeper
from scalewitness.people.queries import confirmed_emails, has_verified_address
from scalewitness.rate_limit import one_too_many

log = structlog.get_logger()

MOST_AN_HOUR: Final = 5
"""Letters of one kind to one address that somebody may claim (our judgement: those that came
hold working links, so the next brings nothing new)."""
NOBODY: Final = UUID("6b1f1d8e-2f0c-4d0e-9a53-0f5c8f1d7a44")
"""Under which addresses without an account are given an id."""


def device_added(keeper: Keeper, device: Device, now: datetime) -> None:
    """Somebody signed in on a device that was not signed in before. None where the address is
    not confirmed: whoever reads it may not have made the account, and is told nothing typed."""
    if has_verified_address(keeper):
        owe(keeper, kind="device_added", now=now, about={"device": device.name})


def browser_signs(keeper: Keeper, device: Device, now: datetime) -> None:
    """Somebody let a browser sign in the keeper's name. None where the address is not confirmed."""
    if has_verified_address(keeper):
        owe(keeper, kind="browser_signs", now=now, about={"device": device.name})


def key_enrolled(keeper: Keeper, device: Device, until: datetime | None, now: datetime) -> None:
    """To a keeper whose word takes a signature: a new device has a key, which no other device of
    theirs endorsed. ``until``: what it signs is not taken before."""
    about = {"device": device.name, "until": until and until.isoformat()}
    owe(keeper, kind="key_enrolled", now=now, about=about)


def signing_notice_given(keeper: Keeper, ends: datetime, now: datetime) -> None:
    """To every confirmed address: at ``ends`` facts count without a signature again, unless a
    device of the keeper's stops it."""
    for email in confirmed_emails(keeper.pk):
        about = {"ends": ends.isoformat()}
        owe(keeper, kind="signing_notice_given", now=now, about=about, to=email)


def signing_notice_stopped(keeper: Keeper, now: datetime) -> None:
    """To every confirmed address: a device said that it is not lost."""
    for email in confirmed_emails(keeper.pk):
        owe(keeper, kind="signing_notice_stopped", now=now, to=email)


def recovery_key_counts(keeper: Keeper, now: datetime) -> None:
    """To every confirmed address: a device of the keeper's endorsed a key on paper."""
    for email in confirmed_emails(keeper.pk):
        owe(keeper, kind="recovery_key_counts", now=now, to=email)


def recovery_key_used(keeper: Keeper, fact: str, now: datetime) -> None:
    """To every confirmed address: a recovery key signed a ``fact`` of this kind."""
    for email in confirmed_emails(keeper.pk):
        owe(keeper, kind="recovery_key_used", now=now, about={"fact": fact}, to=email)


def password_changed(keeper: Keeper, now: datetime, *, kept: bool, by_letter: bool) -> None:
    """``kept``: devices stayed signed in; ``by_letter``: through the link of a letter."""
    about = {"kept": kept, "by_letter": by_letter}
    owe(keeper, kind="password_changed", now=now, about=about)


def address_added(keeper: Keeper, now: datetime) -> None:
    """To the first address: another has been confirmed beside it."""
    owe(keeper, kind="address_added", now=now)


def signing_in_moved(keeper: Keeper, old: str, now: datetime) -> None:
    """To the ``old`` address, of which letters and signing in have gone to another."""
    owe(keeper, kind="signing_in_moved", now=now, to=old)


def confirm_address(address: EmailAddress, now: datetime) -> None:
    """Whoever reads it may know nothing of an account: it repeats nothing that was typed."""
    write_to_claimed("confirm_address", address.email, address.user_id, now, confirm=address.pk)


def account_exists(keeper: Keeper, email: str, now: datetime) -> None:
    """Somebody tried to make an account with the address of this one."""
    write_to_claimed("account_exists", email, keeper.pk, now, reset=str(keeper.pk))


def reset_password(keeper: Keeper, email: str, now: datetime) -> None:
    write_to_claimed("reset_password", email, keeper.pk, now, reset=str(keeper.pk))


def no_account(email: str, now: datetime) -> None:
    """Somebody asked for a new password where there is no account. The letter's row goes once
    it is sent: the address is of nobody here."""
    write_to_claimed("no_account", email, nobody(email), now)


def nobody(email: str) -> UUID:
    """Whom a letter goes to that is written whether or not there is an account."""
    return uuid5(NOBODY, email)


def write_to_claimed(
    kind: str, email: str, person: UUID, now: datetime, **leads_to: object
) -> bool:
    """Anybody can have these sent to anybody, so they are few and hold nothing that was typed
    but the name of who invites. Whether it is owed."""
    if one_too_many(f"letter:{kind}:{digest(email)}", MOST_AN_HOUR, 3600):
        log.warning("letter_once_too_often", kind=kind)
        return False
    _queue(fresh_id(now), kind, person, email, {"to_name": "reader", **leads_to}, now)
    return True


def digest(email: str) -> str:
    return salted_hmac("scalewitness.letters", email, algorithm="sha256").hexdigest()


def owe(
    keeper: Keeper,
    *,
    kind: str,
    now: datetime,
    about: Mapping[str, Any] | None = None,
    to: str | None = None,
) -> None:
    """Queue a letter with the link that signs out every device and browser. In the
    transaction of its cause; it leaves after commit."""
    letter = fresh_id(now)
    context = {
        "to_name": "keeper" if keeper.name == UNNAMED else keeper.name,
        "at": now.isoformat(),
        "sign_out": str(keeper.pk),
        **(about or {}),
    }
    _queue(letter, kind, keeper.pk, to or keeper.email, context, now)


def _queue(
    letter: UUID, kind: str, person: UUID, to: str, context: Mapping[str, Any], now: datetime
) -> None:
    mail.queue(
        id=letter, kind=kind, cause=letter, recipient=person, to=to, context=context, now=now
    )
    transaction.on_commit(mail.wake)
