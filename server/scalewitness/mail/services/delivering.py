"""Letters sent after the transaction of their cause, at least once.

A letter is claimed by a conditional update with a lease. A worker that dies between the
mail host's acceptance and our note of it lets the lease run out; the letter then goes
again under the same Message-ID, so the far end can tell that it is the same one.
"""

import random
import smtplib
from contextlib import suppress
from datetime import datetime, timedelta
from email.errors import MessageError

import structlog
from django.conf import settings
from django.core.mail import BadHeaderError, get_connection
from django.core.mail.backends.base import BaseEmailBackend
from django.db import transaction
from django.db.models import Q

from scalewitness.ledger.services.fencing import is_closed
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import attached_receipt, compose, log_beside
from scalewitness.mail.services.replacing import give_way, in_turn

log = structlog.get_logger()

LEASE = timedelta(seconds=settings.MAIL_LEASE_SECONDS)
FIRST_WAIT = timedelta(seconds=15)
LONGEST_WAIT = timedelta(hours=1)
TO_NOBODY_HERE = {"no_account", "visit_by_letter"}
"""Kinds whose address is of nobody that has to do with the record: it is not kept."""
UNWRITABLE = (UnicodeError, BadHeaderError, MessageError)
"""An address or header that no message can carry; trying again changes nothing."""


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
        give_way(now)
        letters = list(
            in_turn(Letter.objects.select_for_update(skip_locked=True).filter(due)).order_by(
                "next_try_at", "created_at"
            )[:limit]
        )
        Letter.objects.filter(pk__in=[letter.pk for letter in letters]).update(
            state=Letter.State.SENDING, claimed_until=now + LEASE
        )
    for letter in letters:
        letter.state, letter.claimed_until = Letter.State.SENDING, now + LEASE
    return letters


def deliver(letter: Letter, connection: BaseEmailBackend, now: datetime) -> str:
    """Send one claimed letter and note how it went; returns its new state. One that another
    worker took meanwhile, or that went inside a newer letter, is theirs to send."""
    claimed_until = letter.claimed_until
    if claimed_until is not None and not _is_still_ours(letter):
        return letter.state
    letter.attempts += 1
    try:
        receipt, state = attached_receipt(letter, now), log_beside(letter, now)
        compose(letter, connection, receipt, state=state).send()
    except Exception as problem:
        # Whatever is wrong with one letter must not hold up those claimed with it.
        log.warning("letter_not_sent", id=str(letter.pk), error=repr(problem), exc_info=True)
        _note_failure(letter, problem, now)
    else:
        letter.state, letter.sent_at, letter.last_error = Letter.State.SENT, now, ""
    letter.claimed_until = None
    _keep(letter, claimed_until)
    if letter.state == Letter.State.SENT and letter.kind in TO_NOBODY_HERE:
        letter.delete()
    log.info("letter", id=str(letter.pk), kind=letter.kind, state=letter.state)
    return letter.state


def _is_still_ours(letter: Letter) -> bool:
    claimed = Letter.objects.filter(pk=letter.pk, claimed_until=letter.claimed_until)
    return claimed.filter(state=Letter.State.SENDING).exists()


def _keep(letter: Letter, claimed_until: datetime | None) -> None:
    """Write down how it went. A worker that outlived its lease may add that the letter was
    sent, never that it was not: another worker has it now, or has sent it. One that came back
    meanwhile has come back."""
    mine = Letter.objects.filter(pk=letter.pk).exclude(state=Letter.State.RETURNED)
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


def _open(connection: BaseEmailBackend) -> None:
    """Share one connection; a mail host that is down is noted on the letter, by `deliver`."""
    with suppress(smtplib.SMTPException, OSError):
        connection.open()


def deliver_due(now: datetime, limit: int = 20) -> int:
    """Claim and send what is due, ``limit`` at a time over one connection, until nothing is; how
    many were claimed. What waits for an earlier letter is due once that has left."""
    count = 0
    while letters := claim(now, limit):
        count += len(letters)
        connection = get_connection()
        try:
            for letter in letters:
                _open(connection)
                if deliver(letter, connection, now) != Letter.State.SENT:
                    connection.close()
        finally:
            connection.close()
    return count
