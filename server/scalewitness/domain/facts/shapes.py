"""The shapes that bodies are made of."""

from typing import Annotated, Literal

from msgspec import Meta, Struct

Id = Annotated[
    str,
    Meta(
        pattern=r"^[0-9a-f]{8}-[0-9a-f]{4}-[1-8][0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$",
        max_length=36,  # “$” alone would let a line feed follow
    ),
]
Commitment = Annotated[str, Meta(pattern=r"^[0-9a-f]{64}$")]
PublicKey = Annotated[str, Meta(pattern=r"^[0-9a-f]{64}$")]
Sha256 = Annotated[str, Meta(pattern=r"^[0-9a-f]{64}$")]
Signature = Annotated[
    str,
    Meta(
        pattern=r"^[A-Za-z0-9+/]{85}[AQgw]==$",
        max_length=88,
        description="The sending device's Ed25519 signature, base64, over the canonical JSON "
        "(RFC 8785) of the log's entry with `sig` null.",
    ),
]
"""64 bytes in the one base64 spelling they have."""
Day = Annotated[str, Meta(pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$")]
Moment = Annotated[
    str, Meta(pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{3}Z$")
]
Grams = Annotated[str, Meta(pattern=r"^(0|[1-9][0-9]{0,5})(\.[0-9])?$")]
Share = Annotated[str, Meta(pattern=r"^[01]\.[0-9]{6}$")]
TransponderCode = Annotated[str, Meta(pattern=r"^[0-9]{15}$")]
Word = Annotated[str, Meta(min_length=1, max_length=60)]
Figure = Annotated[str, Meta(pattern=r"^-?[0-9]{1,6}(\.[0-9]{1,9})?$", max_length=17)]
"""A number of the model."""
Position = Annotated[int, Meta(ge=0, le=2**53 - 1)]  # what canonical JSON can hold
KeyText = Annotated[str, Meta(min_length=1, max_length=400)]
"""A verifier key, ``name+ID+base64`` (C2SP signed-note)."""
NoteText = Annotated[str, Meta(min_length=1, max_length=2000)]
"""A checkpoint with the one signature of its log (C2SP tlog-checkpoint)."""
Label = Literal[
    "unsexed",
    "probable male",
    "probable female",
    "verified male",
    "verified female",
    "contested",
]
Seconds = Annotated[str, Meta(pattern=r"^-?[1-9][0-9]{0,9}$", max_length=11)]
"""A whole number of seconds, never none."""


class Body(Struct, frozen=True, forbid_unknown_fields=True, omit_defaults=True, kw_only=True):
    """Base of all bodies."""


class Corrected(Body, frozen=True):
    """The fact's own ``at`` is not what the device's clock said, but corrected: it is ``read``,
    what the clock said, plus ``offset``, the record's clock minus the device's, which was
    measured when the record's clock said ``measured_at``."""

    read: Moment
    offset: Seconds
    measured_at: Moment
