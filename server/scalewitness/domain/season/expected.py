"""From what was noted of a pairing to what comes next, and when: a window with its reasons.

Days are days of the keeper who noted them; no time of day and no zone enters.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from itertools import combinations, pairwise
from typing import Final

from msgspec import Struct

from scalewitness.domain.season.events import COUNTED, EVENTS, Event
from scalewitness.domain.season.reproduction import BreedingFigures, DaysBetween

ONE_EVENT: Final = timedelta(days=10)
"""Notes of the same event so near each other are of one: no snake lays twice within ten days (our
judgement)."""
EGGS: Final[tuple[Event, ...]] = (
    "seen_together",
    "ovulation",
    "shed_before_laying",
    "laid",
    "hatched",
)
LIVE: Final[tuple[Event, ...]] = ("seen_together", "ovulation", "shed_before_laying", "born")
ONCE: Final = frozenset({"ovulation", "shed_before_laying", "laid", "hatched", "born"})
"""Events that come once for each clutch; the others as often as somebody looks."""


class Noted(Struct, frozen=True):
    """One note that stands. ``counted``: what of it was counted, by name."""

    id: str
    what: Event
    on: date
    by: str
    counted: Mapping[str, int | str]


class Happening(Struct, frozen=True):
    """One event, by all the notes that are of it: the first of them is the one computed with."""

    what: Event
    on: date
    notes: tuple[Noted, ...]

    @property
    def counted(self) -> Mapping[str, int | str]:
        """By the first note that counted anything."""
        return next((one.counted for one in self.notes if one.counted), {})

    @property
    def agrees(self) -> bool:
        """Whether the notes name one day and no two counts differ."""
        days = {one.on for one in self.notes}
        counts = [
            {one.counted[name] for one in self.notes if name in one.counted}
            for name in COUNTED.get(self.what, ())
        ]
        return len(days) == 1 and all(len(each) < 2 for each in counts)


class Window(Struct, frozen=True):
    """When something is expected: ``first`` to ``last`` day. ``after``: what it was reckoned
    from; ``steps``: the figures on the way; ``clutch``: the how manieth of this pairing."""

    what: Event
    first: date
    last: date
    after: Happening
    steps: tuple[DaysBetween, ...]
    clutch: int


def happenings(notes: Iterable[Noted]) -> tuple[Happening, ...]:
    """The events in the order of their days. What two keepers noted of one laying is one."""
    found: list[Happening] = []
    for one in sorted(notes, key=lambda one: (one.on, EVENTS.index(one.what))):
        same = next((each for each in found if _is_of(one, each)), None)
        if same is None:
            found.append(Happening(one.what, one.on, (one,)))
        else:
            found[found.index(same)] = Happening(same.what, same.on, (*same.notes, one))
    return tuple(found)


def _is_of(note: Noted, happening: Happening) -> bool:
    if note.what != happening.what:
        return False
    apart = note.on - happening.on
    return apart <= ONE_EVENT if note.what in ONCE else not apart


def expected(figures: BreedingFigures, seen: Sequence[Happening]) -> tuple[Window, ...]:
    """What is still to come, in the order of its days: the young of every clutch that was laid and
    did not hatch yet, and what the latest event of the female leads to. Nothing where no source
    knows the days."""
    done = [one for one in seen if one.what in ("laid", "born")]
    since = done[-1].on if done else date.min
    female = [one for one in seen if one.on > since and one.what in EGGS + LIVE]
    way = LIVE if figures.mode.mode == "live" else EGGS
    found = list(_unhatched(figures, seen))
    ahead = [one for one in female if one.what in way and one.what != way[-1]]
    if ahead:
        furthest = max(ahead, key=lambda one: (way.index(one.what), one.on))
        clutch = len(done) + 1
        for what in way[way.index(furthest.what) + 1 :]:
            found += _window(figures, furthest, what, way, clutch)
    return tuple(sorted(found, key=lambda one: (one.first, one.last)))


def _unhatched(figures: BreedingFigures, seen: Sequence[Happening]) -> Iterable[Window]:
    """Of each laying in turn, unless as many clutches have hatched."""
    laid = [one for one in seen if one.what == "laid"]
    hatched = sum(one.what == "hatched" for one in seen)
    for number, one in enumerate(laid, 1):
        if number > hatched and one.counted.get("good") != 0:
            yield from _window(figures, one, "hatched", EGGS, number)


def _window(
    figures: BreedingFigures, since: Happening, what: Event, way: Sequence[Event], clutch: int
) -> Iterable[Window]:
    """By the figure for the whole way where there is one, else by as few steps as there are."""
    between = way[way.index(since.what) + 1 : way.index(what)]
    for count in range(len(between) + 1):
        for stops in combinations(between, count):
            steps = [figures.days.get(one) for one in pairwise((since.what, *stops, what))]
            known = tuple(one for one in steps if one is not None)
            if len(known) == len(steps):
                fewest, most = (
                    timedelta(days=sum(each))
                    for each in zip(*((one.low, one.high) for one in known), strict=True)
                )
                yield Window(what, since.on + fewest, since.on + most, since, known, clutch)
                return


def oddities(seen: Sequence[Happening]) -> list[str]:
    """What in the notes does not fit together, in words: a wrong day or a slip in a count."""
    found: list[str] = []
    first: dict[Event, date] = {}
    for one in seen:
        first.setdefault(one.what, one.on)
    for earlier, later, words in ORDER:
        if earlier in first and later in first and first[later] < first[earlier]:
            found.append(f"{words} Is one of the days wrong?")
    found += [
        "What was noted of one event differs: see each note." for one in seen if not one.agrees
    ][:1]
    laid = [one.counted.get("good") for one in seen if one.what == "laid"]
    out = [one.counted for one in seen if one.what == "hatched"]
    eggs = sum(one for one in laid if isinstance(one, int))
    young = sum(int(each.get(name, 0)) for each in out for name in COUNTED["hatched"])
    if laid and None not in laid and young > eggs:
        found.append("More hatched than good eggs were laid. Is one of the counts wrong?")
    return found


ORDER: Final[tuple[tuple[Event, Event, str], ...]] = (
    ("put_together", "laid", "The laying is noted for a day before they were put together."),
    ("put_together", "born", "The birth is noted for a day before they were put together."),
    (
        "shed_before_laying",
        "laid",
        "The laying is noted for a day before the shed that comes before it.",
    ),
    ("laid", "hatched", "The hatching is noted for a day before the laying."),
)
"""What cannot be in this order in one season, unless sperm was kept or a day is wrong."""
