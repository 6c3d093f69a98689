"""What a keeper's devices think of facts in that keeper's name, from the keeper's own entries.

A device trusts its own key, keys that its keeper confirmed on it, and keys that a trusted one
endorsed in the log. It takes nobody's word for any other: whoever runs the record could have
enrolled one.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, Final, Literal

from scalewitness.domain.translog.devices import (
    ENDORSED,
    ENROLLED,
    REVOKED,
    RULED,
    holds,
    recovers,
)
from scalewitness.domain.translog.leaf import Leaf

NOTICE: Final = "signing_notice_given"
STOPPED: Final = "signing_notice_stopped"
OF_KEYS: Final = frozenset({ENROLLED, REVOKED, ENDORSED, RULED, NOTICE, STOPPED})
"""Kinds that say what the signatures of others are worth."""

NOTICE_PERIOD: Final = timedelta(days=14)
"""From when the notice was received until the rule ends by it (our judgement: a keeper who is
away reads a letter by then)."""

Doubt = Literal[
    "unsigned_ruled",
    "unknown_key",
    "forged",
    "revoked",
    "recovery_misused",
    "recovery",
    "notice",
    "unsigned",
    "by_password",
    "page",
]
ALARMING: Final = frozenset(
    {"unsigned_ruled", "unknown_key", "forged", "revoked", "recovery_misused"}
)
"""Doubts about what a record that keeps its rules would not have taken."""


@dataclass(slots=True)
class Notice:
    """That all devices are lost: the rule ends at ``ends_rule``, unless a device stopped it."""

    id: str
    position: int
    ends_rule: datetime
    stopped: int | None = None

    def runs(self, position: int) -> bool:
        """Whether it was given before ``position`` and not stopped before."""
        return self.position < position and (self.stopped is None or self.stopped >= position)


@dataclass(slots=True)
class OwnWord:
    """Feed it the keeper's entries of :data:`OF_KEYS` kinds in the log's order, then ask.
    ``trusted``: public keys in hexadecimal, this device's own among them."""

    trusted: set[str]
    keys: dict[str, str] = field(default_factory=dict)
    """Of each device the key that it enrolled."""
    recovery: set[str] = field(default_factory=set)
    """Those that are no devices but keys on paper."""
    ends: dict[str, int] = field(default_factory=dict)
    rules: list[tuple[int, bool]] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)

    def read(self, leaf: Leaf, position: int) -> None:
        """Take in what it says, if it comes from whom it must. What does not is no reason to
        believe anything: it is a fact to be doubted itself."""
        if leaf.kind == ENROLLED:
            self._enrol(leaf)
        elif leaf.kind == REVOKED and self._ends_a_key(leaf, position):
            self.ends.setdefault(_text(leaf, "device"), position)
        elif leaf.kind == ENDORSED and self._is_trusted(leaf, position):
            key = _text(leaf, "key")
            if self.keys.get(_text(leaf, "device")) == key:
                self.trusted.add(key)
        elif leaf.kind == RULED and self._is_trusted(leaf, position):
            self.rules.append((position, leaf.body.get("required", True)))
        elif leaf.kind == NOTICE:
            self._give_notice(leaf, position)
        elif leaf.kind == STOPPED and self._is_trusted(leaf, position):
            self._stop(leaf, position)

    def _enrol(self, leaf: Leaf) -> None:
        """The first key of a device; another one is no reason to believe anything."""
        device, key = _text(leaf, "device"), _text(leaf, "key")
        if device != leaf.device or device in self.keys or not self._holds(leaf, key):
            return
        self.keys[device] = key
        if leaf.body.get("recovery", False):
            self.recovery.add(device)

    def _ends_a_key(self, leaf: Leaf, position: int) -> bool:
        """A trusted device does, and any its own. A page and any other device do too, until
        nothing counts that is not signed."""
        if self._is_trusted(leaf, position):
            return True
        if leaf.sig is None:
            return not self.is_ruled(leaf, position)
        own = leaf.device == _text(leaf, "device")
        known = self._holds(leaf, self.keys.get(leaf.device or ""))
        return known and (own or not self.is_ruled(leaf, position))

    def is_ruled(self, leaf: Leaf, position: int) -> bool:
        """Whether, by a rule that a trusted key signed, nothing counted unsigned when ``leaf``
        came in there. A notice ends the rule for what was received from its day on: an entry that
        does not tell when it was received gains nothing by it."""
        if self._rule_at(position) is None:
            return False
        notice, received = self._running(position), _received(leaf)
        return notice is None or received is None or received < notice.ends_rule

    def _rule_at(self, position: int) -> int | None:
        """Where the rule was stated that held there, whatever notices say."""
        before = [one for one in self.rules if one[0] < position]
        return before[-1][0] if before and before[-1][1] else None

    def _running(self, position: int) -> Notice | None:
        """The notice against the rule that held there. A rule stated later outlives it."""
        rule = self._rule_at(position)
        found = (one for one in self.notices if one.runs(position))
        return next((one for one in found if rule is not None and one.position > rule), None)

    def _give_notice(self, leaf: Leaf, position: int) -> None:
        """If the record may have taken it: made on a page, while the rule held and no other ran."""
        received = _received(leaf)
        if received is None or leaf.sig is not None or leaf.device is not None:
            return
        if self._rule_at(position) is not None and self._running(position) is None:
            self.notices.append(Notice(leaf.id, position, received + NOTICE_PERIOD))

    def _stop(self, leaf: Leaf, position: int) -> None:
        notice = self._running(position)
        if notice and notice.id == leaf.body.get("notice") and self.is_ruled(leaf, position):
            notice.stopped = position

    def doubt(self, leaf: Leaf, position: int) -> Doubt | None:
        """What speaks against a fact's being its keeper's; None: a trusted key signed it."""
        if leaf.sig is None:
            if self.is_ruled(leaf, position):
                given = any(one.position == position for one in self.notices)
                return "notice" if given else "unsigned_ruled"
            return "page" if leaf.device is None else "unsigned"
        key = self.keys.get(leaf.device or "")
        if key is None:
            return "unknown_key"
        if not self._holds(leaf, key):
            return "forged"
        if self._has_ended(leaf, position):
            return "revoked"
        if self._is_misused(leaf):
            return "recovery_misused"
        if key not in self.trusted:
            return "by_password"
        return "recovery" if self._is_by_paper(leaf) else None

    def _is_by_paper(self, leaf: Leaf) -> bool:
        """Whether a recovery key states it, other than its own enrolment."""
        return leaf.device in self.recovery and leaf.kind != ENROLLED

    def _is_misused(self, leaf: Leaf) -> bool:
        """Whether it goes beyond what a recovery key signs."""
        return self._is_by_paper(leaf) and not recovers(leaf.kind, leaf.body)

    def _has_ended(self, leaf: Leaf, position: int) -> bool:
        """Whether its device was revoked before."""
        return position > self.ends.get(leaf.device or "", position)

    def _is_trusted(self, leaf: Leaf, position: int) -> bool:
        key = self.keys.get(leaf.device or "")
        if key is None or key not in self.trusted or self._is_misused(leaf):
            return False
        return not self._has_ended(leaf, position) and self._holds(leaf, key)

    def _holds(self, leaf: Leaf, key: Any) -> bool:
        try:
            return isinstance(key, str) and holds(leaf, bytes.fromhex(key))
        except ValueError:
            return False


def _received(leaf: Leaf) -> datetime | None:
    """When the record says that it received it; entries of version 1 do not tell, nor do those
    that tell of a moment that is none."""
    try:
        return datetime.fromisoformat(leaf.stamp.received) if leaf.stamp else None
    except ValueError:
        return None


def _text(leaf: Leaf, name: str) -> str:
    """A member of the body; empty where whoever wrote it past the record put no text there."""
    found = leaf.body.get(name)
    return found if isinstance(found, str) else ""


def own_word(trusted: Iterable[str], of_keys: Iterable[tuple[int, Leaf]]) -> OwnWord:
    """From the keeper's entries of :data:`OF_KEYS` kinds, by position."""
    made = OwnWord(set(trusted))
    for position, leaf in sorted(of_keys, key=lambda one: one[0]):
        made.read(leaf, position)
    return made
