"""A signed state of the log as a link that one reader sends another, `#seen=SIZE.ROOT.SIGNATURE`:
what ``pages/static/checking/carried.js`` reads."""

from scalewitness.domain.translog.base64s import encode64
from scalewitness.domain.translog.notes import Note


def carried(note: Note) -> str | None:
    """What is appended to the address of the log's page; None for a note with more than a tree, as
    the link has no place for it."""
    origin, size, root, *more = note.text.removesuffix("\n").split("\n")
    own = next((line for line in note.lines if line.name == origin), None)
    if more or own is None:
        return None
    line = encode64(own.key_id + own.signature)
    return f"#seen={size}.{_for_link(root)}.{_for_link(line)}"


def _for_link(coded: str) -> str:
    return coded.replace("+", "-").replace("/", "_").rstrip("=")
