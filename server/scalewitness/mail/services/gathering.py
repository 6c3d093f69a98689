"""Letters that one cause owes about many animals: each reader gets them inside one."""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import Final
from uuid import UUID

from scalewitness.fresh_ids import fresh_id
from scalewitness.mail.models import Letter
from scalewitness.mail.queries import COVER
from scalewitness.mail.services import queueing

WAITING: Final = Letter.State.WAITING


def gather(
    letters: Sequence[Letter], about: Mapping[str, str], now: datetime, until: datetime
) -> None:
    """Owe ``letters``, each inside one to its reader that leaves at ``until``, or when it is let
    go. What is ``about`` the same is gathered, in however many transactions it comes; one that
    has left is not added to."""
    inside = [letter for letter in letters if letter.state == WAITING]
    covers = _covers_of({letter.recipient for letter in inside}, about)
    for letter in inside:
        cover = covers.get(letter.recipient)
        if cover is None:
            cover = covers[letter.recipient] = _cover(letter, about, now, until)
            cover.save(force_insert=True)
        letter.state, letter.joined_to = Letter.State.JOINED, cover.pk
    queueing.queue_all(letters)


def _covers_of(recipients: Collection[UUID], about: Mapping[str, str]) -> dict[UUID, Letter]:
    found = Letter.objects.select_for_update().filter(
        kind=COVER, state=WAITING, recipient__in=recipients, context__contains=about
    )
    return {cover.recipient: cover for cover in found}


def _cover(first: Letter, about: Mapping[str, str], now: datetime, until: datetime) -> Letter:
    context = {**about, "to_name": first.context["to_name"]}
    cover = queueing.letter(fresh_id(now), COVER, first.pk, first.recipient, first.to, context, now)
    cover.next_try_at = until
    return cover


def let_go(now: datetime) -> int:
    """Send them, since there is no more to tell; how many there are."""
    new = Letter.objects.filter(kind=COVER, state=WAITING, attempts=0, next_try_at__gt=now)
    return new.update(next_try_at=now)
