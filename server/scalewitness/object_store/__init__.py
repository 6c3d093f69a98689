"""Objects by their keys, in one bucket of an S3-compatible store."""

from dataclasses import dataclass
from datetime import datetime


class Missing(Exception):
    """The bucket holds no such object."""


@dataclass(frozen=True, slots=True)
class StoredObject:
    """An object as the bucket lists it. ``size``: in bytes; ``since``: when it was put there."""

    key: str
    size: int
    since: datetime
