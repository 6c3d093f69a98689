"""How new what the log shows is, and whether the witnesses that a keeper asks for have seen it.

Nothing of this is an alarm: this computer's clock may be wrong, and a witness may be away. What the
two show of the log itself is held to it like everything else.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Protocol

import msgspec

from scalewitness.domain.moments import parse_moment
from scalewitness.domain.translog.base64s import decode64
from scalewitness.domain.translog.checkpoints import Checkpoint
from scalewitness.domain.translog.freshness import SLACK, overdue
from scalewitness.domain.translog.keys import VerifierKey
from scalewitness.domain.translog.leaf import read_leaf
from scalewitness.domain.translog.notes import BadNote, Note, open_note, read_note
from scalewitness.domain.translog.stated_map import map_in
from scalewitness_cli.alarms import Alarm
from scalewitness_cli.key_following import Vouched, vouched
from scalewitness_cli.locking import write_whole
from scalewitness_cli.memory import Memory
from scalewitness_cli.remote import Stopped
from scalewitness_cli.revoked import TellsRevoked, learn
from scalewitness_cli.revoked import known as known_revoked
from scalewitness_cli.witness import Known, Log, Seen, look

UNSHOWN = "The log does not show when it signed its newest state."
MALFORMED = (ValueError, KeyError, TypeError, AttributeError)


class PublicTimes(Log, TellsRevoked, Protocol):
    """A log that also tells when it signed, what witnesses cosigned, and which are revoked."""

    def freshness(self) -> bytes | None: ...

    def cosigned(self, names: Sequence[str]) -> bytes | None: ...


class Wanted(msgspec.Struct, frozen=True):
    """``at_least`` so many of the witnesses trusted here have to have looked ``within`` seconds."""

    at_least: int
    within: int


@dataclass(frozen=True, slots=True)
class Watched:
    """A look at the log, and what is to be said of it, as sentences."""

    seen: Seen | Alarm
    remarks: list[str] = field(default_factory=list)


class _Notes(msgspec.Struct, frozen=True):
    notes: list[str]


def wanted_in(file: Path) -> Wanted | None:
    """What the keeper asks for; None: nothing.

    Raises:
        Stopped: the file is damaged.
    """
    try:
        return msgspec.json.decode(file.read_bytes(), type=Wanted) if file.is_file() else None
    except msgspec.MsgspecError as fault:
        raise Stopped(f"{file} is damaged: {fault}") from None


def keep_wanted(file: Path, wanted: Wanted) -> None:
    write_whole(file, msgspec.json.encode(wanted))


def watch(
    memory: Memory,
    log: PublicTimes,
    keys: Sequence[VerifierKey],
    now: int,
    also: Sequence[Note] = (),
    known: Known = list,
    wanted: Wanted | None = None,
    witnesses: Sequence[VerifierKey] = (),
) -> Watched:
    """As :func:`look`, with what is to be said of the age of what is shown, and of the witnesses
    that were ``wanted``.

    Raises:
        Stopped: as :func:`look`.
    """
    asked = wanted is not None and wanted.at_least > 0
    lines = _cosigned(log, witnesses) if asked else []  # before: what is shown then is no smaller
    seen = look(memory, log, keys, now, also, known)
    if isinstance(seen, Alarm):
        return Watched(seen)
    if witnesses:
        learn(memory, log)
    shown, remark = _age(memory, log, keys, seen, now)
    remarks = [remark] if remark else []
    if wanted is not None and asked and isinstance(shown, Seen):
        mine = [note for note in lines if _is_of(note, memory, keys)]
        found = look(memory, log, keys, now, mine, shown=shown.note)
        shown = found if isinstance(found, Alarm) else shown
        remarks += filter(None, [lacks(wanted, mine, witnesses, now, known_revoked(memory))])
    return Watched(shown, remarks)


def _joined(first: Seen, then: Seen) -> Seen:
    """Two looks as one."""
    return Seen(then.note, then.head, first.before, (*first.changes, *then.changes))


def _age(
    memory: Memory, log: PublicTimes, keys: Sequence[VerifierKey], seen: Seen, now: int
) -> tuple[Seen | Alarm, str]:
    """The state whose age is told, which is the one seen or one that goes on from it."""
    try:
        answer = msgspec.json.decode(log.freshness() or b"")
        note = read_note(answer["checkpoint"])
        if note.text != seen.note.text:
            found = look(memory, log, keys, now, shown=note)
            if isinstance(found, Alarm):
                return found, ""
            seen = _joined(seen, found)
        signed_at = _received(answer["map"], seen.head)
        within = int(answer["signs_within"])
    except MALFORMED:
        return seen, UNSHOWN
    return seen, overdue(signed_at, datetime.fromtimestamp(now, UTC), within)


def _received(stated: Any, head: Checkpoint) -> datetime:
    map_in(stated, head)
    stamp = read_leaf(decode64(stated["entry"])).stamp
    if stamp is None:
        raise ValueError("its last entry tells no time")
    return parse_moment(stamp.received)


def _cosigned(log: PublicTimes, witnesses: Sequence[VerifierKey]) -> list[Note]:
    try:
        answer = log.cosigned([key.name for key in witnesses]) or b""
        return [read_note(one) for one in msgspec.json.decode(answer, type=_Notes).notes]
    except (msgspec.MsgspecError, BadNote):
        return []


def _is_of(note: Note, memory: Memory, keys: Sequence[VerifierKey]) -> bool:
    mine = note.text.partition("\n")[0] == memory.origin
    return mine and isinstance(vouched(note, keys, memory.key_changes(keys)), Vouched)


def lacks(
    wanted: Wanted,
    notes: Sequence[Note],
    witnesses: Sequence[VerifierKey],
    now: int,
    revoked: Mapping[str, int],
) -> str:
    """What is to be said of witnesses that did not look in time; empty where enough did. ``notes``
    are of this log; of a witness that was ``revoked`` by then they count for nothing."""
    sizes, times = dict[str, int](), dict[str, int]()
    for note in notes:
        size = int(note.text.split("\n")[1])
        counting = [key for key in witnesses if size < revoked.get(str(key), size + 1)]
        for name, at in _lines(note, counting).items():
            sizes[name] = size
            times[name] = at
    recent = [name for name, at in times.items() if now - at <= wanted.within + SLACK.seconds]
    if len(recent) >= wanted.at_least:
        return ""
    covered = sorted(sizes.values(), reverse=True)[wanted.at_least - 1 : wanted.at_least]
    return (
        f"You ask that {wanted.at_least} of your {len(witnesses)} witnesses have looked within "
        f"{wanted.within // 3600} hours by this computer's clock; the log shows that "
        f"{len(recent)} did. What came after its first {covered[0] if covered else 0} entries is "
        "vouched for by the log alone, or by fewer."
    )


def _lines(note: Note, witnesses: Sequence[VerifierKey]) -> dict[str, int]:
    """Which of the witnesses cosigned the note, and when."""
    found = {}
    for key in witnesses:
        try:
            (held,) = open_note(note, [key]).verified
        except BadNote:
            continue
        if held.at is not None:
            found[key.name] = held.at
    return found
