"""Letters about the same to one person: numbered, never out of order, and the newest in the place
of those that had not left.

Of an animal's standing the newest letter tells all there is to tell, so an older one that a mail
host would not take is not tried again once there is a newer. Of a deal each letter counts, and
the later waits for the earlier.
"""

from collections.abc import Collection, Sequence
from datetime import datetime, timedelta
from typing import Final
from uuid import UUID

from django.db.models import Exists, Max, OuterRef, Q, QuerySet

from scalewitness.mail.models import UNSENT, Letter
from scalewitness.mail.queries import COVER

REPLACED: Final = frozenset(
    {"disclosure", "claim_disclosure", "standing_notice", "pairing_affected"}
)
"""Kinds of which the newest tells all there is to tell."""
WAITING: Final = Letter.State.WAITING
JOINED: Final = Letter.State.JOINED
SETTLES: Final = timedelta(seconds=15)
"""How long after a letter failed the next about the same is held: a mail host that hung up may
still be putting it away (our judgement)."""


def number(letters: Sequence[Letter]) -> None:
    """Give each its place among those about the same to its reader."""
    about = [letter for letter in letters if letter.about]
    if not about:
        return
    counted = _alike(about).order_by().values_list("recipient", "about").annotate(Max("nth"))
    last = {(recipient, about): nth for recipient, about, nth in counted}
    for letter in about:
        key = letter.recipient, letter.about
        letter.nth = last[key] = last.get(key, 0) + 1


def take_over(letters: Sequence[Letter]) -> None:
    """What waits about the same as one of these, just owed, goes inside it; what must leave
    first is tried at once. One that a worker has taken is left alone: it may be out already."""
    newest = {(one.recipient, one.about): one for one in letters if one.about}
    if not newest:
        return
    older = _alike(newest.values()).exclude(pk__in=[one.pk for one in letters])
    waiting = older.filter(Q(state=WAITING) | _waiting_inside({who for who, _ in newest}))
    for one in waiting.select_for_update(skip_locked=True):
        newer = newest.get((one.recipient, one.about))
        if newer is None:
            continue
        if one.kind in REPLACED:
            tried = min(one.next_try_at, newer.created_at + SETTLES) if one.attempts else None
            _put_inside(one, newer, tried)
        elif one.next_try_at > newer.created_at:
            Letter.objects.filter(pk=one.pk).update(next_try_at=newer.created_at)


def give_way(now: datetime) -> None:
    """Put what failed, or may have, inside a newer letter about the same that did not."""
    alive = Q(state__in=(*UNSENT, Letter.State.SENT))
    covers = Letter.objects.filter(alive, kind=COVER)
    newer = Letter.objects.filter(
        alive | Q(state=JOINED, joined_to__in=covers.values("pk")),
        recipient=OuterRef("recipient"),
        about=OuterRef("about"),
        nth__gt=OuterRef("nth"),
    )
    failed = Q(state=WAITING, attempts__gt=0) | Q(state=Letter.State.SENDING, claimed_until__lt=now)
    failed |= Q(state=JOINED, joined_to__in=Letter.objects.filter(failed, kind=COVER).values("pk"))
    overtaken = Letter.objects.filter(failed, Exists(newer), kind__in=REPLACED).exclude(about="")
    for one in overtaken.select_for_update(skip_locked=True):
        alike = Letter.objects.filter(recipient=one.recipient, about=one.about, nth__gt=one.nth)
        _put_inside(one, alike.order_by("-nth")[0], now + SETTLES)


def _put_inside(one: Letter, newer: Letter, settled: datetime | None) -> None:
    """``settled``: when a mail host will be done with the older one."""
    cover = one.joined_to
    one.state, one.joined_to, one.claimed_until = JOINED, newer.pk, None
    one.save(update_fields=["state", "joined_to", "claimed_until"])
    if settled is not None:
        held = Letter.objects.filter(pk=newer.pk, state=WAITING, next_try_at__lt=settled)
        held.update(next_try_at=settled)
    if cover is not None:
        _close_if_empty(cover)


def _close_if_empty(cover: UUID) -> None:
    """A letter that brought others and has nothing left to tell is not sent."""
    if not Letter.objects.filter(joined_to=cover).exists():
        Letter.objects.filter(pk=cover, state__in=UNSENT, kind=COVER).update(state=JOINED)


def in_turn(letters: "QuerySet[Letter]") -> "QuerySet[Letter]":
    """Without those that must wait for an earlier one about the same, or that bring one that
    must."""
    sending = Letter.objects.filter(kind=COVER, state=Letter.State.SENDING)
    ahead = Letter.objects.filter(
        Q(state__in=UNSENT) | Q(state=JOINED, joined_to__in=sending.values("pk")),
        recipient=OuterRef("recipient"),
        about=OuterRef("about"),
        nth__lt=OuterRef("nth"),
    ).exclude(about="")
    inside = Letter.objects.filter(joined_to=OuterRef("pk"))
    behind = inside.filter(Exists(ahead.exclude(joined_to=OuterRef("joined_to"))))
    return letters.exclude(Exists(ahead)).exclude(Q(kind=COVER) & Exists(behind))


def _alike(letters: Collection[Letter]) -> "QuerySet[Letter]":
    """All about what any of these is about, to the same readers."""
    return Letter.objects.filter(
        recipient__in={one.recipient for one in letters}, about__in={one.about for one in letters}
    ).exclude(about="")


def _waiting_inside(recipients: Collection[UUID]) -> Q:
    """Letters that have not left, inside one that has not."""
    covers = Letter.objects.filter(kind=COVER, state=WAITING, recipient__in=recipients)
    return Q(state=JOINED, joined_to__in=covers.values("pk"))
