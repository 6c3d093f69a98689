"""Checkpoints that come with somebody else's files: a receipt, a saved record.

Whoever is shown another log than others are cannot notice it alone. So each checkpoint met is held
to what this machine remembers of the log, at once where both are of one size, else by the log's own
tiles when it is looked at next; asking at once would tell the server what is being read.
"""

from collections.abc import Sequence
from contextlib import suppress

from scalewitness.domain.translog.checkpoints import NotACheckpoint, read_body
from scalewitness.domain.translog.keys import VerifierKey
from scalewitness.domain.translog.notes import BadNote, Note, read_note
from scalewitness_cli.alarms import Alarm
from scalewitness_cli.key_following import Vouched, vouched
from scalewitness_cli.memory import Memory
from scalewitness_cli.witness import Trouble, alarmed

LATER = (
    "This machine keeps its checkpoint, and holds the log to it at the next scalewitness sync or "
    "witness."
)
NEVER = (
    "This machine has never looked at that log, so it cannot tell whether you are shown the same "
    "one as others: scalewitness verify --ask URL."
)
SAME = "This machine was shown the same state of the log."


def meet(
    memory: Memory, note: Note, keys: Sequence[VerifierKey], address: str, now: int
) -> Alarm | str:
    """Hold a checkpoint that came from somebody else to what is remembered here, or keep it until
    that can be told; what is to be said of it. ``address``: what it came in. ``now``: Unix seconds.

    Raises:
        Stopped: what is remembered is damaged.
    """
    if not isinstance(vouched(note, keys, memory.key_changes(keys)), Vouched):
        return ""
    if memory.kept() is None:
        return NEVER
    head = read_body(note.text)
    with memory.alone():
        for mine in memory.seen_notes():
            with suppress(BadNote, NotACheckpoint):
                known = read_body(read_note(mine).text)
                if known.size == head.size and known.root != head.root:
                    trouble = Trouble("other_root", changes=tuple(memory.key_changes(keys)))
                    return alarmed(memory, address, read_note(mine), note, trouble, now)
                if known.size == head.size:
                    return SAME
        memory.meet(note)
    return LATER
