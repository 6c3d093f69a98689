"""Letters: queued in the transaction of their cause, sent afterwards, at least once.

A letter is claimed by a conditional update with a lease. A worker that dies between the
mail host's acceptance and our note of it lets the lease run out; the letter then goes
again under the same Message-ID, so the far end can tell that it is the same one.
"""

import random
import smtplib
from collections.abc import Mapping
from contextlib import suppress
from datetime import datetime, timedelta
from email.errors import MessageError
from hashlib import sha256
from typing import Any
from urllib.parse import urlsplit
from uuid import UUID

import structlog
from celery import Celery
from django.conf import settings
from django.core.mail import BadHeaderError, EmailMultiAlternatives, get_connection
from django.core.mail.backends.base import BaseEmailBackend
from django.core.signing import Signer
from django.db import transaction
from django.db.models import Q
from django.template.loader import render_to_string
from kombu.exceptions import OperationalError

from scalewitness.domain.erasure import is_erased
from scalewitness.domain.errors import Fenced, LogContradicted
from scalewitness.domain.translog.receipts import Receipt
from scalewitness.ledger.queries.entries import entry_of
from scalewitness.ledger.services.fencing import is_closed
from scalewitness.ledger.services.receipting import receipt_of
from scalewitness.mail.models import Letter

log = structlog.get_logger()

LEASE = timedelta(seconds=settings.MAIL_LEASE_SECONDS)
FIRST_WAIT = timedelta(seconds=15)
LONGEST_WAIT = timedelta(hours=1)
UNWRITABLE = (UnicodeError, BadHeaderError, MessageError)
"""An address or header that no message can carry; trying again changes nothing."""
PENDING = (Letter.State.WAITING, Letter.State.SENDING)
NO_ADDRESS = "the address was erased as its owner asked"
WITH_RECEIPT = frozenset({"disclosure", "sale_confirmed"})
"""Kinds that carry their fact's receipt as a file; others only lead to it."""
DELIVER = "scalewitness.mail.tasks.deliver_waiting"

_signer = Signer(salt="scalewitness.link")
_producer = Celery("scalewitness-letters", set_as_current=False)
_producer.config_from_object("django.conf:settings", namespace="CELERY")


def link_token(link: UUID) -> str:
    """The token of an emailed link; derived when needed, so it never rests in a table."""
    return _signer.sign(link.hex)


def link_of(token: str) -> UUID:
    """The link a token stands for, also under an earlier key of `SECRET_KEY_FALLBACKS`;
    says nothing of expiry or revocation.

    Raises:
        django.core.signing.BadSignature: this server did not sign it.
    """
    return UUID(hex=_signer.unsign(token))


def message_id(kind: str, cause: UUID, recipient: UUID) -> str:
    """Always the same for the same letter, and short enough never to be folded (RFC 5322
    allows it, some mail systems mishandle it)."""
    said = f"{kind} {cause} {recipient}".encode()
    host = urlsplit(settings.PUBLIC_URL).hostname or "localhost"
    if host.replace(".", "").isdigit():
        host = f"[{host}]"  # an address literal, RFC 5321
    return f"<{sha256(said).hexdigest()[:32]}@{host}>"


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
    gone = is_erased(to)
    Letter.objects.bulk_create(
        [
            Letter(
                id=id,
                kind=kind,
                cause=cause,
                recipient=recipient,
                to=to,
                context=dict(context),
                message_id=message_id(kind, cause, recipient),
                created_at=now,
                next_try_at=now,
                state=Letter.State.FAILED if gone else Letter.State.WAITING,
                last_error=NO_ADDRESS if gone else "",
            )
        ],
        ignore_conflicts=True,
    )


def forget_recipient(person: UUID, address: str) -> None:
    """Put ``address`` in the place of the person's own in every letter to them. What still
    waits is given up; whoever erases has made sure that none of it must arrive."""
    theirs = Letter.objects.filter(recipient=person)
    theirs.filter(state__in=PENDING).update(state=Letter.State.FAILED, claimed_until=None)
    theirs.update(to=address)
    theirs.exclude(state=Letter.State.SENT).update(last_error=NO_ADDRESS)


def reword(letters: Q, words: Mapping[str, str]) -> None:
    """Put other words into what letters say, where they say anything under those names."""
    for letter in Letter.objects.select_for_update().filter(letters):
        letter.context |= {name: word for name, word in words.items() if name in letter.context}
        letter.save(update_fields=["context"])


def wake() -> None:
    """Ask the worker to look now. A dead broker only delays: beat looks again anyway."""
    try:
        _producer.send_task(DELIVER, retry=False)
    except OperationalError as down:
        log.warning("broker_unreachable", error=str(down))


def claim(now: datetime, limit: int) -> list[Letter]:
    """Take letters that are due, for the length of a lease. None while the log is closed: a
    restored copy must not send again what was sent since its backup."""
    if is_closed():
        log.warning("log_fenced")
        return []
    due = Q(state=Letter.State.WAITING, next_try_at__lte=now) | Q(
        state=Letter.State.SENDING, claimed_until__lt=now
    )
    with transaction.atomic():
        letters = list(
            Letter.objects.select_for_update(skip_locked=True)
            .filter(due)
            .order_by("next_try_at", "created_at")[:limit]
        )
        Letter.objects.filter(pk__in=[letter.pk for letter in letters]).update(
            state=Letter.State.SENDING, claimed_until=now + LEASE
        )
    for letter in letters:
        letter.state, letter.claimed_until = Letter.State.SENDING, now + LEASE
    return letters


def deliver(letter: Letter, connection: BaseEmailBackend, now: datetime) -> str:
    """Send one claimed letter and note how it went; returns its new state."""
    claimed_until = letter.claimed_until
    letter.attempts += 1
    try:
        compose(letter, connection, attached_receipt(letter, now)).send()
    except Exception as problem:
        # Whatever is wrong with one letter must not hold up those claimed with it.
        log.warning("letter_not_sent", id=str(letter.pk), error=repr(problem), exc_info=True)
        _note_failure(letter, problem, now)
    else:
        letter.state, letter.sent_at, letter.last_error = Letter.State.SENT, now, ""
    letter.claimed_until = None
    _keep(letter, claimed_until)
    log.info("letter", id=str(letter.pk), kind=letter.kind, state=letter.state)
    return letter.state


def _keep(letter: Letter, claimed_until: datetime | None) -> None:
    """Write down how it went. A worker that outlived its lease may add that the letter was
    sent, never that it was not: another worker has it now, or has sent it."""
    mine = Letter.objects.filter(pk=letter.pk)
    if letter.state != Letter.State.SENT:
        mine = mine.filter(state=Letter.State.SENDING, claimed_until=claimed_until)
    noted = ("state", "sent_at", "last_error", "attempts", "claimed_until", "next_try_at")
    mine.update(**{name: getattr(letter, name) for name in noted})


def _note_failure(letter: Letter, problem: Exception, now: datetime) -> None:
    """A refusal for good is shown as failed; anything else is tried again, for ever."""
    letter.last_error = f"{type(problem).__name__}: {problem}"[:500]
    if _refused_for_good(problem):
        letter.state = Letter.State.FAILED
        return
    wait = min(FIRST_WAIT * 2 ** min(letter.attempts - 1, 10), LONGEST_WAIT)
    jitter = random.uniform(0.5, 1.0)  # noqa: S311  spreads retries, guards nothing
    letter.state, letter.next_try_at = Letter.State.WAITING, now + wait * jitter


def _refused_for_good(problem: Exception) -> bool:
    """Whether this letter to this address is what was refused. A refused sign-in, greeting
    or sender is ours to put right, and the letter waits for that."""
    if isinstance(problem, smtplib.SMTPRecipientsRefused):
        return all(500 <= code < 600 for code, _ in problem.recipients.values())
    if isinstance(problem, smtplib.SMTPDataError):
        return 500 <= problem.smtp_code < 600
    return isinstance(problem, UNWRITABLE)


def attached_receipt(letter: Letter, now: datetime) -> Receipt | None:
    """The receipt that goes with a letter. A log that cannot vouch for it holds up no letter:
    it goes without, and the link in it leads to the receipt later."""
    if letter.kind not in WITH_RECEIPT or "receipt" not in letter.context:
        return None
    entry = entry_of(UUID(letter.context["receipt"]))
    try:
        return receipt_of(entry, now) if entry else None
    except (LogContradicted, Fenced, OSError):
        log.warning("letter_without_receipt", id=str(letter.pk))
        return None


def compose(
    letter: Letter,
    connection: BaseEmailBackend | None = None,
    receipt: Receipt | None = None,
) -> EmailMultiAlternatives:
    """The message: three templates a kind (subject, text, HTML), fixed headers, and the
    receipt as a file where there is one."""
    context = {**letter.context, **_addresses(letter), "attached": receipt is not None}
    name = f"letters/{letter.kind}"
    message = EmailMultiAlternatives(
        subject=" ".join(render_to_string(f"{name}.subject.txt", context).split()),
        body=render_to_string(f"{name}.txt", context),
        to=[letter.to],
        connection=connection,
        headers={
            "Message-ID": letter.message_id,
            "Auto-Submitted": "auto-generated",
            "X-Scalewitness-Letter": letter.kind,  # so that a reader can sort them
            "X-Auto-Response-Suppress": "All",
        },
    )
    message.attach_alternative(render_to_string(f"{name}.html", context), "text/html")
    if receipt is not None:
        # Not as text: mail may change a text's line endings, and every byte counts.
        data = str(receipt).encode()
        message.attach(receipt.file_name, data, "application/octet-stream")
    return message


def _addresses(letter: Letter) -> dict[str, str]:
    """Where a letter leads; a buyer's receipts are under their link."""
    found = {"public_url": settings.PUBLIC_URL}
    home = settings.PUBLIC_URL
    if "link" in letter.context:
        token = link_token(UUID(letter.context["link"]))
        found["link_url"] = home = f"{settings.PUBLIC_URL}/offers/{token}"
    if "receipt" in letter.context:
        found["receipt_url"] = f"{home}/receipts/{letter.context['receipt']}"
    return found


def _open(connection: BaseEmailBackend) -> None:
    """Share one connection; a mail host that is down is noted on the letter, by `deliver`."""
    with suppress(smtplib.SMTPException, OSError):
        connection.open()


def deliver_due(now: datetime, limit: int = 20) -> int:
    """Claim and send what is due over one connection; how many were claimed."""
    letters = claim(now, limit)
    if letters:
        connection = get_connection()
        try:
            for letter in letters:
                _open(connection)
                if deliver(letter, connection, now) != Letter.State.SENT:
                    connection.close()
        finally:
            connection.close()
    return len(letters)
