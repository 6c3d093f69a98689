"""What the clock brings about. The names are older than this room, and stay: a task may be waiting
under them while a release is put in place."""

from celery import shared_task
from django.utils import timezone

from scalewitness.letters.backups import look_at_backups
from scalewitness.letters.chasing import chase
from scalewitness.letters.digests import owe_digests
from scalewitness.letters.late import remind_of_late_calls
from scalewitness.letters.reports import ask_practitioners


@shared_task(name="scalewitness.intake.tasks.chase_disclosures")
def chase_disclosures() -> int:
    """Tells sellers what did not arrive and reminds buyers; safe to run twice at once."""
    return chase(timezone.now())


@shared_task(name="scalewitness.intake.tasks.write_digests")
def write_digests() -> int:
    """What waits for each keeper, once a week; safe to repeat."""
    return owe_digests(timezone.now())


@shared_task(name="scalewitness.letters.tasks.ask_practices")
def ask_practices() -> int:
    """Asks practices whether they said what was reported of them; safe to run twice at once."""
    return ask_practitioners(timezone.now())


@shared_task(name="scalewitness.letters.tasks.remind_of_late_checks")
def remind_of_late_checks() -> int:
    """Late checks that their host has not decided on; safe to run twice at once."""
    return remind_of_late_calls(timezone.now())


@shared_task(name="scalewitness.letters.tasks.watch_backups")
def watch_backups() -> int:
    """Tells operators of a backup or drill that failed or is late; safe to run twice at once."""
    return look_at_backups(timezone.now())
