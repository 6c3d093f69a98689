"""Letters owed: written down in the transaction of their cause."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any
from urllib.parse import urlsplit
from uuid import UUID

from django.conf import settings
from django.db.models import Q
from django.utils.crypto import salted_hmac

from scalewitness.domain.erasure import is_erased
from scalewitness.mail.models import UNDELIVERED, UNSENT, DeliveryReport, Letter
from scalewitness.mail.services import waking
from scalewitness.mail.services.replacing import number, take_over

NO_ADDRESS = "the address was erased as its owner asked"

wake = waking.wake


def message_id(kind: str, cause: UUID, recipient: UUID) -> str:
    """Always the same for the same letter, and short enough never to be folded (RFC 5322
    allows it, some mail systems mishandle it). Keyed: a seller knows what a letter is about,
    and must not be able to report it as undeliverable."""
    text = f"{kind} {cause} {recipient}"
    host = urlsplit(settings.PUBLIC_URL).hostname or "localhost"
    if host.replace(".", "").isdigit():
        host = f"[{host}]"  # an address literal, RFC 5321
    digest = salted_hmac("scalewitness.letter", text, algorithm="sha256").hexdigest()
    return f"<{digest[:32]}@{host}>"


def queue(
    *,
    id: UUID,
    kind: str,
    cause: UUID,
    recipient: UUID,
    to: str,
    context: Mapping[str, Any],
    now: datetime,
) -> None:
    """Owe a letter. A second one of the same kind, cause and recipient is not owed.

    To an erased address it is written down and marked as undeliverable, for all to see.
    """
    queue_all([letter(id, kind, cause, recipient, to, context, now)])


def queue_all(letters: Sequence[Letter]) -> None:
    """Owe all of them, each as :func:`queue` does."""
    number(letters)
    Letter.objects.bulk_create(letters, ignore_conflicts=True)
    take_over(letters)


def letter(
    id: UUID,
    kind: str,
    cause: UUID,
    recipient: UUID,
    to: str,
    context: Mapping[str, Any],
    now: datetime,
    about: str = "",
) -> Letter:
    """One to be owed; ``about`` as the table says."""
    gone = is_erased(to)
    return Letter(
        id=id,
        kind=kind,
        cause=cause,
        recipient=recipient,
        to=to,
        about=about,
        context=dict(context),
        message_id=message_id(kind, cause, recipient),
        created_at=now,
        next_try_at=now,
        state=Letter.State.FAILED if gone else Letter.State.WAITING,
        last_error=NO_ADDRESS if gone else "",
    )


def forget_recipient(person: UUID, address: str) -> None:
    """Put ``address`` in the place of the person's own in every letter to them. What still
    waits is given up; whoever erases has made sure that none of it must arrive."""
    theirs = Letter.objects.filter(recipient=person)
    theirs.filter(state__in=UNSENT).update(state=Letter.State.FAILED, claimed_until=None)
    theirs.update(to=address)
    theirs.exclude(state=Letter.State.SENT).update(last_error=NO_ADDRESS)
    DeliveryReport.objects.filter(letter__recipient=person).delete()  # hosts quote addresses


def reword(letters: Q, words: Mapping[str, str]) -> None:
    """Put other words into what letters say, where they say anything under those names."""
    for letter in Letter.objects.select_for_update().filter(letters):
        letter.context |= {name: word for name, word in words.items() if name in letter.context}
        letter.save(update_fields=["context"])


def forget_sender(person: UUID, name: str) -> None:
    """Put ``name`` in the place of the person's own where letters list who sent something."""
    listed = Letter.objects.filter(context__senders__contains=[{"id": str(person)}])
    for letter in listed.select_for_update():
        for one in letter.context["senders"]:
            one["name"] = name if one["id"] == str(person) else one["name"]
        letter.save(update_fields=["context"])


def readdress(person: UUID, address: str, now: datetime) -> int:
    """Send what has not reached the person to another address; how many letters that is."""
    # What told of an earlier change was for whoever reads that very address.
    theirs = Letter.objects.filter(recipient=person).exclude(
        kind__in=("address_changed", "address_in_use")
    )
    waiting = theirs.filter(state=Letter.State.WAITING).update(to=address)
    lost = theirs.filter(state__in=UNDELIVERED).exclude(last_error=NO_ADDRESS)
    again = {"state": Letter.State.WAITING, "to": address, "next_try_at": now, "last_error": ""}
    return waiting + lost.update(**again)
