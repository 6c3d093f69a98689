"""What is wrong with the log itself, as far as this server knows: for every keeper what touches
them, for the operator also what only the operator can put right.

A keeper's own program never sends what alarmed it: the server under suspicion would be the last to
tell. All that shows here is that it signs nothing any more.
"""

from collections.abc import Iterable, Iterator
from datetime import timedelta
from typing import Final

from django.conf import settings
from django.urls import reverse

from scalewitness.ledger.models import Fence
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.ledger.queries.origins import successions
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.queries.witnesses import fell_silent, push_states
from scalewitness.mail.queries import unsent_since
from scalewitness.mail.templatetags.words import moment
from scalewitness.pages.home.pending import Desk, Pending, ago
from scalewitness.people.queries import confirmed_emails
from scalewitness.rate_limit import is_answered

SILENT: Final = timedelta(days=7)
"""Our judgement: whoever has a program look does so daily; a week is more than a holiday of it."""
FORGOTTEN: Final = timedelta(days=90)
"""Our judgement: by then they have stopped it on purpose."""
STILL_NEWS: Final = timedelta(days=30)
LETTERS_LEAVE_IN: Final = timedelta(hours=1)
"""Our judgement: they leave in seconds; a mail host that is busy is tried again within minutes."""
REFUSED_PROOF: Final = 422
"""A witness's answer where a tree does not continue what it has seen (C2SP tlog-witness)."""


def alarms(desk: Desk) -> Iterable[Pending]:
    fence, operates = standing_fence(), _operates(desk)
    if fence is not None:
        yield _fenced(fence, desk, operates=operates)
    yield from _lost(desk)
    silent = fell_silent(desk.keeper.pk, desk.now - FORGOTTEN, desk.now - SILENT)
    if silent is not None:
        yield Pending(
            what="Your own witness signs no more",
            about="look where it runs: it may have raised an alarm, or have stopped",
            url=reverse("log"),
            do="Read",
            since=f"since {moment(silent)}",
        )
    if operates:
        yield from _witnesses()
        yield from _letters(desk)


def _operates(desk: Desk) -> bool:
    """Whether they proved an address to be theirs that the settings name as an operator's."""
    named = {one.lower() for one in settings.OPERATORS}
    return bool(named) and not named.isdisjoint(confirmed_emails(desk.keeper.pk))


def _fenced(fence: Fence, desk: Desk, *, operates: bool) -> Pending:
    closed = f"the log can only be read, and no letter leaves: {fence.reason}"
    return Pending(
        what="Open the log again" if operates else "The log is closed to everything new",
        about=closed if operates else "its operator is checking that it is complete",
        url=reverse("log"),
        do="Read",
        since=ago(fence.at, desk.now),
        group="needs" if operates else "waits",
        urgent=True,
    )


def _lost(desk: Desk) -> Iterator[Pending]:
    for one in successions():
        if one.at > desk.now - STILL_NEWS:
            lost = f"{one.missing} entries are" if one.missing != 1 else "one entry is"
            yield Pending(
                what="The log was closed and goes on under another name",
                about=f"{lost} known to be missing; your own programs offer theirs again",
                url=f"{reverse('log')}#lost",
                do="Read",
                since=ago(one.at, desk.now),
            )


def _witnesses() -> Iterator[Pending]:
    size = tip().size
    for target, state in push_states():
        contradicts = state.size > size or state.status == REFUSED_PROOF
        if not state.failures:
            continue
        yield Pending(
            what=f"The outside witness {target.key.name} "
            + ("contradicts this log" if contradicts else "does not sign"),
            about=state.error,
            url=reverse("log"),
            do="Look",
            since=f"since {moment(state.cosigned_at)}" if state.cosigned_at else "from the first",
            urgent=contradicts,
        )


def _letters(desk: Desk) -> Iterator[Pending]:
    count, oldest = unsent_since(desk.now - LETTERS_LEAVE_IN)
    if oldest is not None:
        yield Pending(
            what="Letters do not leave",
            about=f"{count} wait for over an hour"
            + ("" if is_answered() else "; the queue server does not answer"),
            since=f"the oldest since {moment(oldest)}",
        )
