"""One run over the whole log: in stretches, with a mark to go on from."""

from collections.abc import Callable, Iterable, Sequence
from functools import partial
from itertools import chain
from pathlib import Path
from typing import Literal
from uuid import UUID

import msgspec
from django.utils import timezone

from scalewitness.domain.translog.devices import DeviceKeys
from scalewitness.domain.translog.regrowth import Regrowth
from scalewitness.fsck.books import check_books
from scalewitness.fsck.crew import Crew
from scalewitness.fsck.log import (
    Claim,
    LogCheck,
    State,
    Versions,
    beyond,
    check_signatures,
    read_state,
)
from scalewitness.fsck.map import check_map
from scalewitness.fsck.objects import Unreferred, check_bucket
from scalewitness.fsck.older import (
    altered,
    check_older_seals,
    digest,
    digested,
    digests_of,
    pass_over,
    shares,
)
from scalewitness.fsck.report import Difference, Report
from scalewitness.fsck.rows import check_texts_elsewhere
from scalewitness.fsck.seals import unsealed
from scalewitness.fsck.since import Sound
from scalewitness.fsck.stretches import Looked, look_at, stretches
from scalewitness.fsck.tables import strays
from scalewitness.ledger.queries.snapshot import snapshot
from scalewitness.ledger.queries.spans import bounds
from scalewitness.standings.queries.replay import SpanReplayed, replay_span
from scalewitness.standings.queries.replay import strays as stray_standings
from scalewitness.standings.queries.replay_animals import StandingDifference
from scalewitness.standings.queries.rules_as_of import Rests
from scalewitness.standings.queries.surroundings import (
    AnimalSpan,
    Surroundings,
    spans,
    surroundings,
)

Part = Literal["log", "rows", "standings", "books", "objects"]
PARTS: tuple[Part, ...] = ("log", "rows", "standings", "books", "objects")
Shown = Callable[[str, int, int], None]
"""Told the part, how far it is and how far it goes."""


class Mark(msgspec.Struct):
    """How far a run has come. The tree and the devices so far go with it, so that going on
    needs nothing of what was checked before; that is not looked at again."""

    origin: str
    parts: tuple[Part, ...]
    tree: Regrowth = msgspec.field(default_factory=Regrowth)
    devices: DeviceKeys = msgspec.field(default_factory=DeviceKeys)
    versions: Versions = msgspec.field(default_factory=Versions)
    position: int = 0
    standings: UUID | None = None
    """The animals before this one have been replayed."""
    report: Report = msgspec.field(default_factory=Report)


class OtherRun(ValueError):
    """The file is no mark, or one of another log or of other parts."""


def read_mark(file: Path | None, origin: str, parts: tuple[Part, ...]) -> Mark:
    """The mark kept in a file, or a fresh one.

    Raises:
        OtherRun: it cannot be gone on from.
    """
    if file is None or not file.exists():
        return Mark(origin, parts)
    try:
        mark = msgspec.json.decode(file.read_bytes(), type=Mark)
    except msgspec.DecodeError as fault:
        raise OtherRun(f"{file} does not hold the place of an earlier run: {fault}") from None
    if (mark.origin, mark.parts) != (origin, parts):
        raise OtherRun(f"{file} is from a run over {', '.join(mark.parts)} of {mark.origin}")
    return mark


def keep_mark(file: Path | None, mark: Mark) -> None:
    """Write it whole or not at all."""
    if file is not None:
        fresh = file.with_name(f"{file.name}.new")
        fresh.write_bytes(msgspec.json.encode(mark))
        fresh.replace(file)


class FsckRun:
    """Goes over the log once. ``keep`` is handed the mark after every stretch. ``sound``: what an
    earlier run found so, which is then not read again but held to its hashes."""

    def __init__(
        self,
        mark: Mark,
        keep: Callable[[Mark], None],
        show: Shown,
        claims: Sequence[Claim] = (),
        processes: int = 1,
        sound: Sound | None = None,
    ) -> None:
        self.mark = mark
        self._sound = sound
        self._since = sound.tree.size if sound else 0
        if sound is not None:
            mark.devices, mark.versions = sound.devices, sound.versions
        self._crew = Crew(processes)
        self._keep, self._show = keep, show
        self.unreferred = Unreferred()
        with snapshot():
            self.state: State = read_state()
            if mark.position == 0 and "log" in mark.parts:
                self._note(beyond(self.state.size))
        self._log = LogCheck(mark.tree, self.state, claims)

    def everything(self) -> Report:
        with self._crew:
            self._everything()
        return self.mark.report

    def everything_since(self) -> tuple[Report, Sound]:
        """The same, with what is to be kept of it where nothing differs. The rows' digests are made
        first: what is altered after that, either this run finds or the next one does."""
        with self._crew:
            made = dict(self._crew.each(digested, shares(self.state.size)))
            for share, before in self._sound.digests.shares() if self._sound else ():
                if before != (made.get(share) or digest(share)):
                    self._note([altered(share)])
            self._everything()
        mark, digests = self.mark, digests_of(self.state.size, list(made.items()))
        return mark.report, Sound(mark.origin, mark.tree, mark.devices, mark.versions, digests)

    def _everything(self) -> None:
        if "log" in self.mark.parts:
            self._note(self._log.looked_back(self.mark.position))
        if {"log", "rows"} & set(self.mark.parts):
            self._entries()
            self._ends()
        if "standings" in self.mark.parts:
            self._standings()
        if "books" in self.mark.parts:
            with snapshot():
                self._note(check_books(self._crew))
        if "objects" in self.mark.parts:
            self._note(check_bucket(timezone.now(), self.unreferred))

    def _note(self, differences: Iterable[Difference]) -> None:
        for one in differences:
            self.mark.report.note(one)

    def _entries(self) -> None:
        size, since = self.state.size, self._since
        look = partial(look_at, self.mark.parts)
        older = self._crew.each(pass_over, stretches(self.mark.position, since))
        newer = self._crew.each(look, stretches(max(self.mark.position, since), size))
        for looked in chain(older, newer):
            if "log" in self.mark.parts:
                with snapshot():
                    self._in_order(looked)
            self._note(looked.found)
            self.mark.position = looked.end
            self._keep(self.mark)
            if self._sound is not None and looked.end == since:
                self._compare_with(self._sound)
            self._show("entries", looked.end, size)

    def _compare_with(self, sound: Sound) -> None:
        if self.mark.tree != sound.tree:
            what = f"the first {sound.tree.size} are not those that were checked"
            self._note([Difference("ledger_entry", sound.tree.size, what)])

    def _in_order(self, looked: Looked) -> None:
        """What rests on all entries before the stretch."""
        self._note(self.mark.versions.read(looked))
        self._note(check_signatures(looked, self.mark.devices))
        self._note(self._log.check(looked))

    def _ends(self) -> None:
        with snapshot():
            if "log" in self.mark.parts:
                self._note(self._log.finish())
                self._note(check_texts_elsewhere())
                self._note(unsealed())
                self._note(check_older_seals(self._since))
                self._note(check_map(self._crew, self._since))
            if "rows" in self.mark.parts:
                self._note(strays(read_state().size))

    def _standings(self) -> None:
        """Animal by animal: they are as of the first moment, as entries never change."""
        with snapshot():
            size = self.state.size
            around = surroundings(size)
            if self.mark.standings is None:
                self._note(map(_of_standing, around.faults))
                self._note(map(_of_standing, stray_standings(size, self._since)))
            left = self._left(bounds(size), around)
        replay = partial(replayed_alone, around.rests, size, self._since)
        for nth, (span, replayed) in enumerate(
            zip(left, self._crew.each(replay, left), strict=True), 1
        ):
            self._note(map(_of_standing, replayed.differences))
            self.mark.standings = span.end
            self._keep(self.mark)
            self._show("standings", size * nth // len(left), size)

    def _left(self, ends: Sequence[UUID], around: Surroundings) -> list[AnimalSpan]:
        """From where an earlier run was stopped: since then the log may have grown, and is parted
        otherwise."""
        done = self.mark.standings
        if done is None:
            return list(spans(ends, around))
        _, *left = spans([done, *(one for one in ends if one > done)], around)
        return left


def replayed_alone(rests: Rests, size: int, since: int, span: AnimalSpan) -> SpanReplayed:
    """In a snapshot of its own."""
    with snapshot():
        return replay_span(rests, size, since, span)


def _of_standing(found: StandingDifference) -> Difference:
    return Difference("calls_standing", found.position, found.what)
