"""Whose log the positions in an answer are of: said once in every answer that gives one.

A position, or the size of a tree, means nothing without its log: two servers have an entry 1,420
each. `log_origin` is added to what an operation gives, whatever shape that has.
"""

from functools import cache
from typing import Any, Final, get_origin

import msgspec

from scalewitness.ledger.services.memory import present_origin

MEMBER: Final = "log_origin"
ABOUT: Final = "The log that positions and sizes of trees in this answer are of, by its origin."
POSITIONS: Final = frozenset(
    {
        "position",
        "revoked_position",
        "seen",
        "as_of",
        "decided",
        "size",
        "old",
        "new",
        "checkpoint",
        "revoked_from",
        "learned_until",
    }
)
"""Members that hold a position in the log, or how many entries a tree has, wherever they are whole
numbers; `tests/api/test_positions.py` knows every other whole number by name."""


@cache
def gives_positions(type: Any) -> bool:
    """Whether an answer of this type gives a position anywhere, and its log nowhere."""
    if type is None or type is bytes or get_origin(type) is bytes:
        return False
    (found,), parts = msgspec.json.schema_components([type], ref_template="{name}")
    top = parts.get(found.get("$ref", ""), {}).get("properties", {})
    return "origin" not in top and any(map(_has_position, parts.values()))


def _has_position(part: dict[str, Any]) -> bool:
    members = part.get("properties", {})
    return any(name in POSITIONS and is_whole(schema) for name, schema in members.items())


def is_whole(schema: dict[str, Any]) -> bool:
    """Whether a value may be a whole number."""
    return any(one.get("type") == "integer" for one in (schema, *schema.get("anyOf", ())))


def with_origin(encoded: bytes) -> bytes:
    """A JSON object with the origin as its first member."""
    more = msgspec.json.encode({MEMBER: present_origin()})
    return more if encoded == b"{}" else more[:-1] + b"," + encoded[1:]


def described(part: dict[str, Any]) -> dict[str, Any]:
    """The schema of an answer with that member."""
    member = {MEMBER: {"type": "string", "description": ABOUT}}
    return {
        **part,
        "properties": {**member, **part["properties"]},
        "required": [MEMBER, *part.get("required", ())],
    }
