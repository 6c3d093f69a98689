"""Photos' files on their way into the bucket, and what is to go from it."""

from collections.abc import Callable
from time import monotonic
from typing import Final

import structlog
from celery import shared_task
from django.conf import settings
from django.utils import timezone

from scalewitness.animals.queries.photo_files import has_bucket
from scalewitness.animals.services import photo_files
from scalewitness.domain.errors import FilesAway
from scalewitness.ledger.queries.fence import standing_fence

log = structlog.get_logger()

FOR: Final = 20.0
"""Seconds that one run moves files; the next comes soon, and letters may wait (our judgement)."""


@shared_task(name="scalewitness.animals.tasks.keep_bucket")
def keep_bucket() -> None:
    """Erases what is owed to be erased, and moves what has arrived; safe to run twice at once."""
    _unless_away(_clear)
    _unless_away(_move)


@shared_task(name="scalewitness.animals.tasks.sweep_bucket")
def sweep_bucket() -> None:
    """Deletes what no photo refers to any more."""
    _unless_away(_sweep)


def _unless_away(work: Callable[[], None]) -> None:
    """Nothing while the log is fenced: a copy restored on trial may see the same bucket."""
    if not has_bucket() or standing_fence() is not None:
        return
    try:
        work()
    except FilesAway:  # it is in the log, and the next run tries again
        return


def _clear() -> None:
    photo_files.clear_erased(timezone.now())


def _move() -> None:
    if settings.PHOTO_STORAGE == "objects":
        until = monotonic() + FOR
        for photo, fault in photo_files.moved("objects", timezone.now):
            if fault:
                log.error("photo_not_moved", photo=str(photo), fault=fault)
            if monotonic() > until:
                return


def _sweep() -> None:
    swept = photo_files.sweep(timezone.now())
    log.info("bucket_swept", deleted=swept.deleted, kept=swept.kept)
