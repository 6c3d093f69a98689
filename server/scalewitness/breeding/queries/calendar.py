"""The season as it happens: what was seen of each pairing, and what is expected when."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final
from uuid import UUID

from django.core.signing import BadSignature, Signer
from django.db.models import prefetch_related_objects
from django.utils.crypto import salted_hmac

from scalewitness.animals.queries import title_of
from scalewitness.breeding.models import CalendarLink, Pairing, SeasonNote
from scalewitness.breeding.queries.pairings import PairingSeen, as_seen, paired_in, pairings_of
from scalewitness.calls.queries.made import days_of
from scalewitness.calls.queries.visibility import Reader, reader_of, seen_animals, young_seen
from scalewitness.domain.errors import NotFound
from scalewitness.domain.season.expected import (
    ONE_EVENT,
    Happening,
    Noted,
    Window,
    expected,
    happenings,
    oddities,
)
from scalewitness.domain.season.icalendar import Entry
from scalewitness.domain.season.reproduction import (
    UNKNOWN,
    BreedingFigures,
    breeding_figures,
)

WEEK: Final = timedelta(days=7)
FORGOTTEN: Final = timedelta(days=60)
"""So long after its window something is no longer called late: nobody noted it, or it never came
(our judgement)."""

STATED_LATER: Final = timedelta(days=60)
"""So long after a laying a check of the dam is taken to tell of it (our judgement)."""

_links = Signer(salt="scalewitness.calendar")


@dataclass(frozen=True, slots=True)
class InSeason:
    """A pairing with what the reader is told of its season. ``whole``: whether they see both
    animals; else they are told what they noted themselves, and nothing is reckoned from it.
    ``held``: whether the dam is in a collection that they hold or are a partner in; ``changed``:
    when a note of it last came or went."""

    seen: PairingSeen
    whole: bool
    held: bool
    notes: tuple[SeasonNote, ...]
    changed: datetime
    figures: BreedingFigures
    happenings: tuple[Happening, ...]
    windows: tuple[Window, ...]
    oddities: tuple[str, ...]

    @property
    def pairing(self) -> Pairing:
        return self.seen.pairing


@dataclass(frozen=True, slots=True)
class Due:
    """Something expected in these days, or ``late``: its window is over."""

    of: InSeason
    window: Window
    late: bool


def seasons_seen(keeper: UUID, now: datetime, *, only: UUID | None = None) -> list[InSeason]:
    """Of pairings that the keeper is told of, of the seasons about now; or of the ``only`` one,
    whichever season it is of. A dam whose mate died still lays, so those are among them."""
    near = {"season__gte": now.year - 1, "season__lte": now.year + 1, "dam__ended": ""}
    which = {"end": None, **(near if only is None else {"pk": only})}
    reader = reader_of(keeper, now)
    rows = pairings_of(reader, which=which)
    seen = seen_animals(keeper, paired_in(rows), now)
    prefetch_related_objects([animal for animal, _ in seen.values()], "identifiers")
    notes = _stated(one.pk for one in rows)
    return [
        _in_season(pair, notes[pair.pairing.pk], reader) for pair in as_seen(rows, reader, seen)
    ]


def season_seen(keeper: UUID, pairing: UUID, now: datetime) -> InSeason:
    """One of them.

    Raises:
        NotFound: there is none, it is planned no longer, or it is not theirs to be told of.
    """
    found = seasons_seen(keeper, now, only=pairing)
    if not found:
        raise NotFound()
    return found[0]


def _stated(pairings: Iterable[UUID]) -> defaultdict[UUID, list[SeasonNote]]:
    """All notes, the withdrawn too, in the order in which they came."""
    found: defaultdict[UUID, list[SeasonNote]] = defaultdict(list)
    rows = SeasonNote.objects.filter(pairing__in=list(pairings)).select_related("end")
    for one in rows.order_by("position"):
        found[one.pairing_id].append(one)
    return found


def _in_season(pair: PairingSeen, stated: Iterable[SeasonNote], reader: Reader) -> InSeason:
    whole = pair.whole
    held = pair.dam is not None and pair.dam.collection_id in reader.holds
    own = [one for one in stated if whole or one.by == reader.keeper]
    notes = tuple(one for one in own if not hasattr(one, "end"))
    times = [moment for one in own for moment in (one.at, *_withdrawn(one))]
    seen = happenings(
        Noted(str(one.pk), one.what, one.on, str(one.by), one.counted)  # type: ignore[arg-type]
        for one in notes
    )
    figures = breeding_figures(pair.dam.species) if whole and pair.dam else UNKNOWN
    windows, odd = expected(figures, seen), tuple(oddities(seen))
    return InSeason(
        pair, whole, held, notes, max(times, default=pair.pairing.at), figures, seen, windows, odd
    )


def _withdrawn(note: SeasonNote) -> Iterator[datetime]:
    if hasattr(note, "end"):
        yield note.end.at


def due(found: Iterable[InSeason], today: date) -> list[Due]:
    """What is expected within a week from ``today`` on, and what is late, by its last day."""
    listed = [
        Due(one, window, late=window.last < today)
        for one in found
        for window in one.windows
        if window.first < today + WEEK and window.last >= today - FORGOTTEN
    ]
    return sorted(listed, key=lambda one: (one.window.last, str(one.of.pairing.pk)))


@dataclass(frozen=True, slots=True)
class StatedOf:
    """Of a dam, on which days eggs or a birth were stated as a check of her, and on which young of
    hers that are registered hatched or were born."""

    eggs: tuple[date, ...]
    young: tuple[date, ...]


def is_stated(one: Happening, days: Iterable[date]) -> bool:
    """Whether it was stated already on one of these days, as one clutch is to count once."""
    return any(-ONE_EVENT <= day - one.on <= STATED_LATER for day in days)


def stated_of(dam: UUID, keeper: UUID, now: datetime) -> StatedOf:
    """For whoever sees her whole."""
    young = [one.hatched for one in young_seen(keeper, dam, now) if one.hatched]
    return StatedOf(tuple(days_of(dam, "reproduction")), tuple(young))


# --- for a program that cannot sign in --------------------------------------------------


def link_in_force(keeper: UUID) -> str | None:
    """The token of the keeper's link, None where they have none."""
    link = CalendarLink.objects.filter(keeper=keeper, ended_at=None).first()
    return None if link is None else _links.sign(link.pk.hex)


def keeper_by_link(token: str) -> UUID:
    """Whose calendar it opens.

    Raises:
        NotFound: this server did not sign it, or it ended.
    """
    try:
        link = UUID(hex=_links.unsign(token))
    except BadSignature:
        raise NotFound() from None
    found = CalendarLink.objects.filter(pk=link, ended_at=None, keeper__is_active=True).first()
    if found is None:
        raise NotFound()
    return found.keeper_id


def calendar_entries(found: Iterable[InSeason], host: str) -> Iterator[Entry]:
    """Codes and due dates of dams in the keeper's own rooms: no event, sex, mate or trait, as
    whoever has the link, or looks at the screen it is on, is told of them. An entry stays the same
    one while its window moves."""
    for one in found:
        if not (one.whole and one.held) or one.seen.dam is None:
            continue
        code = title_of(one.seen.dam, named=False)
        for window in one.windows:
            named = f"{one.pairing.pk} {window.what} {window.clutch}"
            uid = salted_hmac("scalewitness.calendar", named, algorithm="sha256").hexdigest()[:32]
            yield Entry(f"{uid}@{host}", f"{code}: due", window.first, window.last, one.changed)
