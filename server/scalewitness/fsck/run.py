"""One run over the whole log: in stretches, with a mark to go on from."""

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Literal

import msgspec

from scalewitness.domain.translog.devices import DeviceKeys
from scalewitness.domain.translog.regrowth import Regrowth
from scalewitness.fsck.books import check_books
from scalewitness.fsck.erasures import check_gone
from scalewitness.fsck.log import (
    Claim,
    LogCheck,
    State,
    Versions,
    beyond,
    check_signatures,
    check_versions,
    read_state,
)
from scalewitness.fsck.map import check_map
from scalewitness.fsck.reading import entries_between, read_entry
from scalewitness.fsck.report import Difference, Report
from scalewitness.fsck.rows import check_files, check_rows, check_texts, check_texts_elsewhere
from scalewitness.fsck.seals import check_seals, unsealed
from scalewitness.fsck.tables import strays
from scalewitness.ledger.queries.snapshot import snapshot
from scalewitness.standings.queries.replay import Replay

STRETCH = 2048
"""Entries at a time: eight tiles, a few megabytes."""

Part = Literal["log", "rows", "standings", "books"]
PARTS: tuple[Part, ...] = ("log", "rows", "standings", "books")
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
    standings: int = 0
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
    """Goes over the log once. ``keep`` is handed the mark after every stretch."""

    def __init__(
        self,
        mark: Mark,
        keep: Callable[[Mark], None],
        show: Shown,
        claims: Sequence[Claim] = (),
    ) -> None:
        self.mark = mark
        self._keep, self._show = keep, show
        with snapshot():
            self.state: State = read_state()
            if mark.position == 0 and "log" in mark.parts:
                self._note(beyond(self.state.size))
        self._log = LogCheck(mark.tree, self.state, claims)

    def everything(self) -> Report:
        if "log" in self.mark.parts:
            self._note(self._log.looked_back(self.mark.position))
        if {"log", "rows"} & set(self.mark.parts):
            self._entries()
            self._ends()
        if "standings" in self.mark.parts:
            self._standings()
        if "books" in self.mark.parts:
            with snapshot():
                self._note(check_books(read_state().size))
        return self.mark.report

    def _note(self, differences: Iterable[Difference]) -> None:
        for one in differences:
            self.mark.report.note(one)

    def _entries(self) -> None:
        size = self.state.size
        for start in range(self.mark.position, size, STRETCH):
            end = min(start + STRETCH, size)
            with snapshot():
                self._stretch(start, end)
            self.mark.position = end
            self._keep(self.mark)
            self._show("entries", end, size)

    def _stretch(self, start: int, end: int) -> None:
        read = [read_entry(entry) for entry in entries_between(start, end)]
        facts = [one.fact for one in read if one.fact is not None]
        if "log" in self.mark.parts:
            self._note(check_versions(read, self.mark.versions))
            self._note(check_signatures(read, self.mark.devices))
            self._note(self._log.check(read, start, end))
            self._note(check_texts(facts))
            self._note(check_gone(facts))
            self._note(check_files(facts))
            self._note(check_seals(facts))
        if "rows" in self.mark.parts:
            self._note(check_rows(facts, start, end))

    def _ends(self) -> None:
        with snapshot():
            if "log" in self.mark.parts:
                self._note(self._log.finish())
                self._note(check_texts_elsewhere())
                self._note(unsealed())
                self._note(check_map())
            if "rows" in self.mark.parts:
                self._note(strays(read_state().size))

    def _standings(self) -> None:
        replay = Replay(self.mark.standings, self._seen)
        try:
            with snapshot():
                for found in replay.differences():
                    self._note([Difference("calls_standing", found.position, found.what)])
        except (ValueError, LookupError, msgspec.MsgspecError) as fault:
            what = f"standings cannot be recomputed from here on: {fault!r}"
            self._note([Difference("calls_standing", replay.position, what)])

    def _seen(self, position: int) -> None:
        if position >= self.mark.standings + STRETCH:
            self.mark.standings = position + 1
            self._keep(self.mark)
            self._show("standings", position + 1, self.state.size)
