"""When a check was, by a clock that may be off: asked where somebody is there to answer."""

from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta

import click

from scalewitness.domain.moments import rfc3339
from scalewitness_cli import checks, clock
from scalewitness_cli.clock import Verdict, minute, moment, read_clock
from scalewitness_cli.devicekey import Fact
from scalewitness_cli.readings import Noted, as_corrected, kept_comparison
from scalewitness_cli.store import Store

CORRECTED, AS_READ = "corrected", "as-read"


@dataclass(frozen=True)
class When:
    """``at`` is what is claimed, ``best`` what it most likely was. ``noted``: the reading of
    the clock that ``at`` is, where it is one; ``verdict``: what that is worth; ``correcting``:
    whether it is to be put right; ``notes``: what there is to say of it."""

    at: datetime
    best: datetime
    noted: Noted | None = None
    verdict: Verdict = clock.RIGHT
    correcting: bool = False
    notes: list[str] = field(default_factory=list)

    def put_right(self, fact: Fact) -> Fact:
        """A fact read from the clock, at the time it is to be sent with."""
        is_read = self.noted is not None and fact["at"] == rfc3339(self.at)
        return as_corrected(fact, self.verdict) if self.correcting and is_read else fact

    def ids_read(self, facts: list[Fact]) -> list[str]:
        """Of those whose times were read from the clock."""
        return [one["id"] for one in facts if one["at"] == rfc3339(self.at)]


def now_or_typed(store: Store, typed: str | None, wanted: str | None, *, ask: bool) -> When:
    """The time of a check: typed, or now by this machine's clock, corrected where that is
    ``wanted``, or somebody says so when they are asked.

    Raises:
        BadWord: what was typed is no time.
    """
    reading, before = read_clock(), kept_comparison(store)
    now, best = moment(reading.local), clock.time_by(reading, before)
    if typed is not None:
        at = typed_moment(typed, now)
        return When(at, at)
    verdict = clock.judged(reading, before)
    read = When(now, best, Noted(reading, before, decided=wanted == AS_READ), verdict)
    if verdict.state == "right":
        return read
    click.secho(f"  ! {clock.in_words(verdict)}", err=True, bold=True)
    if wanted == AS_READ:
        return read
    if verdict.state == "unknown":
        return _when_it_was(read, ask=ask)
    return _corrected_or_not(read, wanted, ask=ask)


def _corrected_or_not(read: When, wanted: str | None, *, ask: bool) -> When:
    put_right = f"{minute(read.best)} instead of {minute(read.at)}"
    if ask and wanted is None:
        yes = click.confirm(f"Note it at the corrected time, {put_right}?", default=True, err=True)
        wanted = CORRECTED if yes else AS_READ
        if read.noted is not None and not yes:
            return replace(read, noted=Noted(read.noted.reading, read.noted.before, decided=True))
    if wanted == CORRECTED:
        note = f"Noted at the corrected time, {put_right}; how it was corrected goes with it."
        return replace(read, correcting=True, notes=[note])
    note = (
        f"Its time as noted, {minute(read.at)}, is off. To have it sent at the corrected time, "
        f"{minute(read.best)}: scalewitness retry ID --corrected; else --as-read."
    )
    return replace(read, notes=[note])


def _when_it_was(read: When, *, ask: bool) -> When:
    if ask and (typed := _asked()) is not None:
        return When(typed, typed)
    note = (
        f"Noted at {minute(read.at)}, as this computer's clock says. If the next contact shows "
        "that it is off you are asked before anything is sent: scalewitness unsent."
    )
    return replace(read, notes=[note])


def _asked() -> datetime | None:
    """By another clock; asked again until it can be meant."""
    while True:
        text = click.prompt(
            "When was it, by another clock? (nothing: as this computer says)",
            default="", show_default=False, err=True,
        ).strip()  # fmt: skip
        if not text:
            return None
        try:
            return datetime.fromisoformat(text).astimezone()
        except ValueError:
            click.echo(f"“{text}” is not a time, such as 2026-11-25 14:30.", err=True)


def typed_moment(text: str | None, now: datetime) -> datetime:
    """``today``, ``yesterday`` or a day (its noon here, or now where that is still to come), or a
    time, without an offset by this machine's time zone.

    Raises:
        BadWord: neither.
    """
    if text is None:
        return now
    try:
        if text.lower() in DAYS_AGO:
            today = now.astimezone().date()
            return _noon(today - timedelta(days=DAYS_AGO[text.lower()]), now)
        if is_day(text):
            return _noon(datetime.strptime(text, "%Y-%m-%d").date(), now)  # noqa: DTZ007  only the day
        return datetime.fromisoformat(text).astimezone()
    except (ValueError, OverflowError):
        raise checks.BadWord(f"“{text}” is not a day or time, such as 2026-11-25.") from None


def edge_of(text: str, now: datetime, *, ends: bool = False) -> datetime:
    """Of a day its start, or its end; a time as it is. Raises BadWord."""
    found = typed_moment(text, now)
    if not is_day(text):
        return found
    midnight = datetime.combine(found.astimezone().date(), time()).astimezone()
    return (midnight + timedelta(days=ends)).replace(tzinfo=None).astimezone()


DAYS_AGO = {"today": 0, "yesterday": 1}


def is_day(text: str) -> bool:
    """Whether a day was meant and no time of it."""
    return text.lower() in DAYS_AGO or len(text) == len("2026-11-25")


def _noon(day: date, now: datetime) -> datetime:
    noon = datetime.combine(day, time(12)).astimezone()
    return now if now < noon and day == now.astimezone().date() else noon
