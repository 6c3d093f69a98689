"""Reading letters and their delivery state."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import Final
from uuid import UUID

from django.db.models import Count, Min, Q

from scalewitness.mail.models import UNDELIVERED, UNSENT, Letter

COVER: Final = "rule_changed"
"""The kind that other letters go inside, so that each reader gets one."""


def letters_for(causes: Iterable[UUID]) -> dict[UUID, list[Letter]]:
    """Letters by what caused them (a fact, a disclosure), oldest first; one inside another
    fares as that one does."""
    found: dict[UUID, list[Letter]] = {}
    letters = Letter.objects.filter(cause__in=list(causes)).order_by("created_at", "pk")
    for letter in _as_delivered(list(letters)):
        found.setdefault(letter.cause, []).append(letter)
    return found


def _as_delivered(letters: Sequence[Letter]) -> Sequence[Letter]:
    joined = {letter.joined_to for letter in letters if letter.joined_to is not None}
    covers = {cover.pk: cover for cover in Letter.objects.filter(kind=COVER, pk__in=joined)}
    for letter in letters:
        if letter.joined_to in covers:
            cover = covers[letter.joined_to]
            for name in ("state", "to", "sent_at", "next_try_at", "last_error"):
                setattr(letter, name, getattr(cover, name))
    return letters


def inside(cover: Letter) -> list[Letter]:
    """What it brings, in the order it was owed."""
    return list(Letter.objects.filter(joined_to=cover.pk).order_by("created_at", "pk"))


def replaced_by(letter: Letter) -> list[Letter]:
    """Those about the same that it tells in their place, in the order they were owed."""
    found, level = list[Letter](), [letter.pk]
    while level:
        joined = Letter.objects.filter(joined_to__in=level, about=letter.about)
        found += (own := list(joined))
        level = [one.pk for one in own]
    return sorted(found, key=lambda one: one.nth)


def wrote_before(letter: Letter) -> bool:
    """Whether a mail host took an earlier one about the same."""
    earlier = Letter.objects.filter(
        recipient=letter.recipient, about=letter.about, nth__lt=letter.nth
    )
    accepted = Q(state=Letter.State.SENT) | Q(
        joined_to__in=Letter.objects.filter(kind=COVER, state=Letter.State.SENT).values("pk")
    )
    return bool(letter.about) and earlier.filter(accepted).exists()


def sent_to(recipient: UUID) -> Iterator[Letter]:
    """Every letter to somebody that has left, the first one first."""
    left = Letter.objects.filter(recipient=recipient).exclude(sent_at=None)
    return left.order_by("sent_at", "pk").iterator(chunk_size=500)


def was_written_to(recipient: UUID, kind: str, since: datetime) -> bool:
    """Whether a letter of that kind to them was owed after that."""
    return Letter.objects.filter(recipient=recipient, kind=kind, created_at__gt=since).exists()


def came_back_from(person: UUID, address: str) -> bool:
    """Whether a letter to the person at that address reached nobody."""
    theirs = Letter.objects.filter(recipient=person, to=address)
    return theirs.filter(state__in=UNDELIVERED).exists()


def unsent_since(before: datetime) -> tuple[int, datetime | None]:
    """How many letters that were owed before then have not left, and since when the oldest."""
    waiting = Letter.objects.filter(state__in=UNSENT, created_at__lt=before)
    found = waiting.aggregate(Count("pk"), Min("created_at"))
    return found["pk__count"], found["created_at__min"]


def letters_on_their_way() -> dict[str, int]:
    """How many letters wait, are being sent, or reached nobody, by state. Those that arrived are
    not counted: there are ever more of them."""
    counted = Letter.objects.filter(state__in=(*UNSENT, *UNDELIVERED)).order_by()
    by_state = dict(counted.values_list("state").annotate(Count("pk")))
    return {state.value: by_state.get(state, 0) for state in (*UNSENT, *UNDELIVERED)}
