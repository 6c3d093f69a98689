"""What another log says of an animal, taken in as one file."""

from typing import Annotated, Literal

from msgspec import Meta

from scalewitness.domain.facts.shapes import Body, Id, Position, Sha256, Word

Origin = Annotated[str, Meta(pattern=r"^[!-*,-~]{1,200}$", max_length=200)]
"""A log's name as people read it: visible ASCII, without the plus sign of keys."""


class RecordQuoted(Body, frozen=True):
    """About an animal: the record that the log ``origin`` has of it, as ``animal``, as of its first
    ``size`` entries. ``bundle`` is the SHA-256 of the file without its texts. Both records have the
    ``code``."""

    bundle: Sha256
    origin: Origin
    size: Position
    animal: Id
    scheme: Literal["transponder", "tag"]
    code: Word


BODIES: dict[str, type[Body]] = {"record_quoted": RecordQuoted}
