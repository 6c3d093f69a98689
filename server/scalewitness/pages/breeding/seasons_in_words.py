"""A pairing's season in words: what was seen, by whom, and what is expected when and why."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django.urls import reverse
from django.utils.safestring import SafeString

from scalewitness.animals.queries import title_of
from scalewitness.breeding.models import SeasonNote
from scalewitness.breeding.queries.calendar import Due, InSeason, StatedOf, is_stated
from scalewitness.domain.habits import day_in_short, day_in_words
from scalewitness.domain.season.events import CAUTIONS, COUNTED, COUNTS, EXPECTED, SEEN, Event
from scalewitness.domain.season.expected import Happening, Window
from scalewitness.domain.season.reproduction import DaysBetween
from scalewitness.pages.breeding.paired import title_seen
from scalewitness.pages.breeding.season_notes import NoteWithdrawalForm
from scalewitness.pages.plots.season import season_strip

MALES = (
    "Nothing of a season counts for the sex of the male: males court males, females keep sperm for "
    "years, and some bear young without any male. A parentage test of the young proves a father."
)


@dataclass(frozen=True, slots=True)
class SeasonRow:
    """A pairing in the calendar. ``late``: something's window is over."""

    pairing: UUID
    title: str
    season: int
    last: str
    windows: Sequence[str]
    late: bool
    strip: SafeString


@dataclass(frozen=True, slots=True)
class NoteInWords:
    """One note: what it says, who stated it, and the form that withdraws it."""

    id: UUID
    text: str
    by: str
    form: NoteWithdrawalForm


@dataclass(frozen=True, slots=True)
class WindowInWords:
    text: str
    why: str


def titled(one: InSeason) -> str:
    """Dam and sire, as far as the reader sees them."""
    return f"{title_seen(one.seen.dam)} with {title_seen(one.seen.sire)}"


def as_row(one: InSeason, today: date) -> SeasonRow:
    last = one.happenings[-1] if one.happenings else None
    return SeasonRow(
        pairing=one.pairing.pk,
        title=titled(one),
        season=one.pairing.season,
        last=f"{SEEN[last.what]} {day_in_words(last.on)}" if last else "nothing noted yet",
        windows=[_window(each) for each in one.windows],
        late=any(each.last < today for each in one.windows),
        strip=season_strip(one.happenings, one.windows, today),
    )


def due_in_words(one: Due) -> dict[str, Any]:
    dam = one.of.seen.dam
    return {
        "title": title_of(dam) if dam else "",
        "text": _window(one.window),
        "late": one.late,
        "pairing": one.of.pairing.pk,
    }


def in_detail(one: InSeason, names: Mapping[UUID, str], stated: StatedOf) -> dict[str, Any]:
    """All of one pairing's season for its page. ``stated``: what of it is evidence already."""
    return {
        "title": titled(one),
        "notes": [_note(each, names) for each in one.notes],
        "windows": [WindowInWords(_window(each), _why(each)) for each in one.windows],
        "oddities": one.oddities,
        "usual": _usual(one),
        "next_steps": list(_next_steps(one, stated)),
        "whole": one.whole,
        "males": MALES,
    }


def cautions_of(what: Event, one: InSeason) -> list[str]:
    """What is said before it is noted, with where it comes from."""
    found = [CAUTIONS[what]] if what in CAUTIONS else []
    female = one.figures.first.get("female")
    if what == "put_together" and female is not None:
        least = [f"{female.grams:,} g"] if female.grams else []
        least += [f"{female.months} months"] if female.months else []
        source = _source(female.status, female.source)
        found.append(f"Females are bred from {' and '.join(least)} on ({source}).")
    return found


def _note(one: SeasonNote, names: Mapping[UUID, str]) -> NoteInWords:
    counted = [
        f"{COUNTS[name].lower()}: {one.counted[name]}"
        for name in COUNTED.get(one.what, ())  # type: ignore[call-overload]
        if name in one.counted
    ]
    text = f"{SEEN[one.what].capitalize()} {day_in_words(one.on)}"
    by = names.get(one.by, "somebody")
    more = f" ({', '.join(counted)})" if counted else ""
    return NoteInWords(one.pk, f"{text}{more}", by, NoteWithdrawalForm(one.pk))


def _window(one: Window) -> str:
    which = f", clutch {one.clutch}" if one.clutch > 1 else ""
    days = f"{day_in_short(one.first)} to {day_in_short(one.last)}"
    return f"{EXPECTED[one.what].capitalize()}{which}: {days}"


def _why(one: Window) -> str:
    """From what it is reckoned, with every figure on the way."""
    steps = "; ".join(_step(each) for each in one.steps)
    return f"From “{SEEN[one.after.what]}” on {day_in_words(one.after.on)}: {steps}."


def _step(one: DaysBetween) -> str:
    borrowed = f", of the {one.about}, as none was found for this species" if one.about else ""
    note = f"; {one.note}" if one.note else ""
    return f"{one.low} to {one.high} days ({_source(one.status, one.source)}{borrowed}{note})"


def _source(status: str, source: str) -> str:
    return f"{status}: {source}" if source else status


def _usual(one: InSeason) -> str:
    """How many at once, by the source that is computed with."""
    if not one.figures.young:
        return ""
    young = one.figures.young[0]
    mean = f", {young.mean:g} on average" if young.mean else ""
    what = "young" if one.figures.mode.mode == "live" else "eggs"
    source = _source(young.status, young.source)
    return f"{young.low} to {young.high} {what} at once{mean} ({source})."


def _next_steps(one: InSeason, stated: StatedOf) -> Iterator[tuple[str, str]]:
    """Where an outcome is stated for what it proves: the young as a clutch, and eggs or young as a
    check of the dam. The note itself is evidence of nothing, so it is never counted beside them;
    and what was stated already is not offered again."""
    dam = one.seen.dam
    if not (one.whole and one.held) or dam is None:
        return
    for each in one.happenings:
        out = each.what in ("hatched", "born")
        if out and not is_stated(each, stated.young):
            yield _clutch(one, each), f"Register the young of {day_in_words(each.on)}"
        if each.what in ("laid", "born") and not is_stated(each, stated.eggs):
            event = "gave_birth" if each.what == "born" else "laid_eggs"
            count = sum(int(value) for value in each.counted.values())
            asked = {"event": event, **({"count": count} if count else {})}
            call = reverse("make_call", args=[dam.pk, "reproduction"])
            words = "bore young" if each.what == "born" else "laid"
            yield f"{call}?{urlencode(asked)}", f"State as a check that {title_of(dam)} {words}"


def _clutch(one: InSeason, out: Happening) -> str:
    young = out.counted.get("young", out.counted.get("live"))
    asked = {"pairing": str(one.pairing.pk), "hatched": out.on.isoformat()}
    asked |= {"number": str(young)} if young else {}
    dam = one.seen.dam
    assert dam is not None  # noqa: S101  see _next_steps
    return f"{reverse('register_clutch', args=[dam.collection_id])}?{urlencode(asked)}"
