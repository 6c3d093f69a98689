"""Letters about one's own account: what changed, when, and the way to undo it at once.

They name nobody but the keeper they go to. Their links are derived when a letter is composed.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from scalewitness.intake.batch import fresh_id
from scalewitness.mail.services import queueing as mail
from scalewitness.people.models import Device, Keeper


def device_added(keeper: Keeper, device: Device, now: datetime) -> None:
    """Somebody signed in on a device that was not signed in before."""
    owe(keeper, kind="device_added", now=now, about={"device": device.name})


def password_changed(keeper: Keeper, now: datetime, *, kept: bool, by_letter: bool) -> None:
    """``kept``: devices stayed signed in; ``by_letter``: through the link of a letter."""
    about = {"kept": kept, "by_letter": by_letter}
    owe(keeper, kind="password_changed", now=now, about=about)


def signing_in_moved(keeper: Keeper, old: str, now: datetime) -> None:
    """To the ``old`` address, of which letters and signing in have gone to another."""
    owe(keeper, kind="signing_in_moved", now=now, to=old)


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
        "to_name": keeper.name,
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
