"""What the clock brings about."""

import structlog
from celery import shared_task
from django.contrib.sessions.backends.db import SessionStore
from django.utils import timezone

from scalewitness.domain.errors import Fenced
from scalewitness.intake import devices, named_as_one, newcomers
from scalewitness.intake.closing import close_books, seal_waiting
from scalewitness.intake.reassessing import reassess_due
from scalewitness.intake.statements import lapse_offers, update_examiner_records

log = structlog.get_logger()


@shared_task(name="scalewitness.intake.tasks.lapse_due_offers")
def lapse_due_offers() -> int:
    """Ends offers that ran out; safe to run twice at once, since the head's lock is taken."""
    try:
        return lapse_offers(timezone.now())
    except Fenced:
        log.warning("log_fenced")
        return 0


@shared_task(name="scalewitness.intake.tasks.end_devices")
def end_devices() -> int:
    """Signs out devices nobody used for long, and forgets sessions of browsers that are over:
    they hold the address that was signed in with. Safe to run twice at once."""
    SessionStore.clear_expired()
    return devices.end_devices(timezone.now())


@shared_task(name="scalewitness.intake.tasks.update_records")
def update_records() -> int:
    """Makes up the examiners' records from what has been settled since; safe to repeat."""
    try:
        return update_examiner_records(timezone.now())
    except Fenced:
        log.warning("log_fenced")
        return 0


@shared_task(name="scalewitness.intake.tasks.count_unanswered")
def count_unanswered() -> int:
    """Has contrary calls of newcomers count that nobody answered in time; safe to repeat."""
    try:
        return newcomers.count_unanswered(timezone.now())
    except Fenced:
        log.warning("log_fenced")
        return 0


@shared_task(name="scalewitness.intake.tasks.count_named")
def count_named() -> int:
    """Has accounts count as one examiner that a finding names and that did not object in time;
    safe to repeat."""
    try:
        return named_as_one.count_named(timezone.now())
    except Fenced:
        log.warning("log_fenced")
        return 0


@shared_task(name="scalewitness.intake.tasks.go_on_reassessing")
def go_on_reassessing() -> int:
    """Goes on where a new rule or record was stopped; safe to run twice at once."""
    try:
        return reassess_due(timezone.now())
    except Fenced:
        log.warning("log_fenced")
        return 0


@shared_task(name="scalewitness.intake.tasks.close_the_books")
def close_the_books() -> int | None:
    """Has the log commit to what changed beside it, once in an hour at most, and to late calls that
    an earlier release held outside it; safe to repeat."""
    try:
        seal_waiting(timezone.now())
        return close_books(timezone.now())
    except Fenced:
        log.warning("log_fenced")
        return None
