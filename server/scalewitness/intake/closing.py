"""Closing the books: a fact over all that is kept beside the log, as of that moment."""

from datetime import datetime, timedelta
from typing import Final

from django.db import transaction

from scalewitness.books.queries import last_closing
from scalewitness.books.services import store_closing, write_lines
from scalewitness.calls.queries.held import unsealed_calls
from scalewitness.domain.facts import BooksClosed
from scalewitness.domain.translog.books import root_of_books
from scalewitness.fresh_ids import fresh_id
from scalewitness.intake.batch import Batch
from scalewitness.intake.reassessing import RECORD
from scalewitness.intake.sealing import seal_call

APART: Final = timedelta(hours=1)
"""Between two closings, at least (our judgement): what is altered meanwhile is told only if it
was closed before."""


def seal_waiting(now: datetime) -> int:
    """Late calls that came before they entered the log as they came do so now, under seal; how
    many. Safe to repeat.

    Raises:
        Fenced: the log is closed.
    """
    if not unsealed_calls():
        return 0
    with transaction.atomic():
        batch = Batch(RECORD, now)  # first: it takes the log's lock
        waiting = unsealed_calls()
        for held in waiting:
            seal_call(held, batch)
        batch.flush()
    return len(waiting)


def close_books(now: datetime) -> int | None:
    """Have the log commit to all that lies outside it; the position of the fact. None where that
    is not due: the last closing was within the hour, nothing is new since, or another process has
    just done it.

    Raises:
        Fenced: the log is closed.
    """
    last = last_closing()
    if last is not None and now < last.at + APART:
        return None
    books = write_lines()
    if books is None:
        return None
    with transaction.atomic():
        batch = Batch(RECORD, now)
        if last_closing() != last:
            return None
        body = BooksClosed(root=root_of_books(books))
        position = batch.state("books_closed", fresh_id(now), body).position
        store_closing(position, books, now)
        batch.flush()
    return position
