"""Letters inside another: what has not left when there is more to tell of the same, and what one
cause owes about many animals."""

from collections.abc import Callable, Collection, Hashable, Mapping, Sequence
from datetime import datetime
from typing import Any, Final, TypeVar
from uuid import UUID

from django.db.models import Exists, OuterRef, Q

from scalewitness.fresh_ids import fresh_id
from scalewitness.mail.models import Letter
from scalewitness.mail.queries import COVER
from scalewitness.mail.services import queueing

K = TypeVar("K", bound=Hashable)

WAITING: Final = Letter.State.WAITING
JOINED: Final = Letter.State.JOINED


def join_waiting(
    kind: str, about: Callable[[Any], K], into: Mapping[tuple[UUID, K], UUID]
) -> dict[UUID, list[Any]]:
    """What letters say that have not left, of this kind to these people and ``about`` the same
    (as read from what a letter says): by the letter that will say it in their place, in the
    order they were owed. ``into``: those letters, by recipient and what they are about.

    One that a worker has taken is left alone: it may be out already.
    """
    recipients = {who for who, _ in into}
    waiting = Letter.objects.select_for_update(skip_locked=True).filter(
        Q(state=WAITING) | _waiting_inside(recipients),
        kind=kind,
        recipient__in=recipients,
    )
    joined: dict[UUID, list[Letter]] = {}
    covers: set[UUID] = set()
    for one in waiting.order_by("created_at", "pk"):
        target = into.get((one.recipient, about(one.context)))
        if target is not None:
            covers |= {one.joined_to} if one.joined_to else set()
            one.state, one.joined_to = JOINED, target
            joined.setdefault(target, []).append(one)
    gone = [one for letters in joined.values() for one in letters]
    Letter.objects.bulk_update(gone, ["state", "joined_to"])
    _close_empty(covers)
    return {target: [one.context for one in letters] for target, letters in joined.items()}


def _waiting_inside(recipients: Collection[UUID]) -> Q:
    """Letters that have not left, inside one that has not."""
    covers = Letter.objects.filter(kind=COVER, state=WAITING, recipient__in=recipients)
    return Q(state=JOINED, joined_to__in=covers.values("pk"))


def _close_empty(covers: Collection[UUID]) -> None:
    """A letter with nothing left to tell is not sent."""
    inside = Letter.objects.filter(joined_to=OuterRef("pk"))
    empty = Letter.objects.filter(~Exists(inside), pk__in=covers, state=WAITING, kind=COVER)
    empty.update(state=JOINED)


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
        letter.state, letter.joined_to = JOINED, cover.pk
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
