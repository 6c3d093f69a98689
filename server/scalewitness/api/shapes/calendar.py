"""The season as it happens, as shown."""

from collections.abc import Sequence
from datetime import date
from uuid import UUID

from msgspec import Struct

from scalewitness.api.shapes.pairings import PairingShown, pairings
from scalewitness.api.shapes.people import Person, named
from scalewitness.breeding.queries.calendar import InSeason
from scalewitness.domain.season.events import Event, Mode
from scalewitness.domain.season.expected import Window
from scalewitness.domain.season.reproduction import DaysBetween
from scalewitness.people.queries import names_of


class NoteShown(Struct, frozen=True):
    """What ``by`` saw, ``on`` a day of theirs. ``counted``: by the names that a note has them."""

    id: UUID
    what: Event
    on: date
    by: Person
    counted: dict[str, int | str]


class WindowShown(Struct, frozen=True):
    """From the ``first`` to the ``last`` day on which it is expected. Reckoned from what was seen
    ``on`` a day (``after``), by the figures of ``steps``, each with its source and status and, if
    it is borrowed, whose it is (``about``). ``clutch``: the how manieth of the pairing."""

    what: Event
    first: date
    last: date
    after: Event
    on: date
    clutch: int
    steps: tuple[DaysBetween, ...]


class PairingInSeason(Struct, frozen=True):
    """``whole``: the reader sees both animals; else these are their own notes, and nothing is
    reckoned from them. ``mode``: whether the dam's species lays or bears. ``oddities``: what does
    not fit together, in words."""

    pairing: PairingShown
    whole: bool
    mode: Mode
    notes: list[NoteShown]
    windows: list[WindowShown]
    oddities: tuple[str, ...]


class CalendarShown(Struct, frozen=True):
    items: list[PairingInSeason]


def calendar(found: Sequence[InSeason]) -> CalendarShown:
    shown = pairings([one.seen for one in found]).items
    names = names_of({note.by for one in found for note in one.notes})
    return CalendarShown(
        [
            PairingInSeason(
                pairing=pair,
                whole=one.whole,
                mode=one.figures.mode.mode,
                notes=[
                    NoteShown(note.pk, note.what, note.on, named(note.by, names), note.counted)  # type: ignore[arg-type]
                    for note in one.notes
                ],
                windows=[_window(window) for window in one.windows],
                oddities=one.oddities,
            )
            for one, pair in zip(found, shown, strict=True)
        ]
    )


def _window(one: Window) -> WindowShown:
    return WindowShown(
        one.what, one.first, one.last, one.after.what, one.after.on, one.clutch, one.steps
    )
