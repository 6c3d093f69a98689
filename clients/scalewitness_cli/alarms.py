"""Alarms: what was seen that must not be, with the signed notes it rests on."""

from collections.abc import Sequence
from hashlib import sha256
from typing import Literal

import msgspec

from scalewitness.domain.translog.base64s import decode64
from scalewitness.domain.translog.checkpoints import Checkpoint, NotACheckpoint
from scalewitness.domain.translog.key_changes import changes_from, with_followed
from scalewitness.domain.translog.keys import VerifierKey
from scalewitness.domain.translog.notes import BadNote, open_checkpoint
from scalewitness.domain.translog.proofs import verify_consistency

Kind = Literal[
    "smaller",
    "other_root",
    "rewritten",
    "unproven",
    "bad_signature",
    "other_log",
    "old_key",
    "two_keys",
    "half_change",
    "succeeded",
    "not_whole",
    "seal_broken",
]

WORDS: dict[Kind, str] = {
    "smaller": "The log shows a smaller tree than it vouched for before: entries are gone, or "
    "it shows you an old state.",
    "other_root": "The log vouched for two different trees of the same size: one of them is "
    "not what others are shown, or entries were changed.",
    "rewritten": "What the log shows now does not begin with what it vouched for before: "
    "entries were changed, removed or slipped in.",
    "unproven": "The log does not prove that what it shows now continues what it vouched for "
    "before.",
    "bad_signature": "What the log shows is not signed by the key you trust. If the log has a "
    "new key, get it from somebody you trust.",
    "old_key": "What the log shows is signed under a key that it had given up: somebody uses a "
    "key that is no longer the log's.",
    "two_keys": "The key you trusted gave the log over to one key, and is shown to have given it "
    "to another as well: one of them is an impostor's.",
    "half_change": "What the log shows names another key for it, and not both keys vouch for that.",
    "other_log": "Another log is shown here than the one you watch.",
    "not_whole": "What the server shows of an animal is not what its log states, or does not "
    "follow from that: something was altered, added or kept back.",
    "seal_broken": "A late call of yours was sealed into the log as it came, and what the server "
    "says of it now does not fit that: it was made to disappear, or something was put in its "
    "place.",
    "succeeded": "The log you watch was closed, and says that it goes on as another.",
}


class Alarm(msgspec.Struct, frozen=True, kw_only=True):
    """``kept`` and ``shown`` are signed notes as the log gave them out; ``kept`` is None
    where nothing was kept before.

    ``root_then`` (base64) is the root that the *larger* of the two trees has over as many
    entries as the smaller one holds, and ``proof`` the consistency proof that it has: with
    these two, whoever holds the log's key can see the contradiction without asking anyone.
    ``changes`` are the notes by which the log came to its later keys.
    """

    id: str
    kind: Kind
    at: int
    address: str
    origin: str
    why: str
    kept: str | None
    shown: str
    root_then: str | None = None
    proof: list[str] = []
    changes: list[str] = []


class Acknowledged(msgspec.Struct, frozen=True):
    """An alarm that somebody set aside, when (Unix seconds) and why."""

    alarm: Alarm
    because: str
    at: int
    started_over: bool


def alarm_id(*parts: str) -> str:
    """Eight hex digits that name an alarm."""
    return sha256("\n".join(parts).encode()).hexdigest()[:8]


def proves_fault(alarm: Alarm, keys: Sequence[VerifierKey]) -> bool:
    """Whether the alarm's two notes by themselves show that the log vouched for two trees
    that cannot both be its own, or that a key was used which it had given up. Needs nothing but
    the log's keys."""
    if _misused(alarm, keys):
        return True
    keys = with_followed(keys, changes_from(keys, alarm.changes))
    kept, shown = _opened(alarm.kept or "", keys), _opened(alarm.shown, keys)
    if kept is None or shown is None or kept.origin != shown.origin:
        return False
    old, new = (kept, shown) if kept.size <= shown.size else (shown, kept)
    if old.size == new.size:
        return old.root != new.root
    return _grew_from_another(alarm, old, new)


def _misused(alarm: Alarm, keys: Sequence[VerifierKey]) -> bool:
    """Whether one note gives the log over to another key, and the other one is signed later under
    the old one, or gives the log to a third."""
    change = next(iter(changes_from(keys, filter(None, [alarm.kept]))), None)
    if change is None:
        return False
    later, other = _opened(alarm.shown, [change.old]), changes_from([change.old], [alarm.shown])
    return (later is not None and later.size > change.head.size) or any(
        (one.new, one.head) != (change.new, change.head) for one in other
    )


def _grew_from_another(alarm: Alarm, old: Checkpoint, new: Checkpoint) -> bool:
    try:
        root, proof = decode64(alarm.root_then or ""), list(map(decode64, alarm.proof))
    except ValueError:
        return False
    return root != old.root and verify_consistency(
        size1=old.size, root1=root, size2=new.size, root2=new.root, proof=proof
    )


def _opened(text: str, keys: Sequence[VerifierKey]) -> Checkpoint | None:
    for key in keys:
        try:
            return open_checkpoint(text, key)[0]
        except (BadNote, NotACheckpoint):
            continue
    return None
