"""What a keeper is told by letter of their ways in."""

from datetime import datetime
from typing import Literal

from django.db import transaction

from scalewitness.domain.moments import rfc3339
from scalewitness.fresh_ids import fresh_id
from scalewitness.mail.services import queueing as mail
from scalewitness.people.models import Keeper

Event = Literal[
    "totp_added",
    "totp_removed",
    "passkey_added",
    "passkey_removed",
    "codes_made",
    "code_used",
    "codes_guessed",
    "removed_by_operator",
]


def notify_of_factor(keeper: Keeper, event: Event, now: datetime) -> None:
    """Owe the keeper a letter of what happened to their second factor. Whoever did it may not
    have been them, and the letter says what to do then."""
    id = fresh_id(now)
    mail.queue(
        id=id,
        kind="second_factor",
        cause=id,
        recipient=keeper.pk,
        to=keeper.email,
        context={
            "to_name": keeper.name,
            "event": event,
            "at": rfc3339(now),
            "sign_out": str(keeper.pk),
        },
        now=now,
    )
    transaction.on_commit(mail.wake)
