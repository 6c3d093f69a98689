"""The one byte form of a JSON value, and a reader that takes no second meaning.

Two programs that hash or sign the same value must hash the same bytes: RFC 8785 (JCS)
fixes them. JCS leaves three doors open that a log cannot afford, so a guard stands before
it: text is NFC-normalised, numbers are integers a double holds exactly (everything finer
travels as a decimal string), and nothing nests deeper than :data:`MAX_DEPTH`.
"""

import json
import math
import re
import unicodedata
from collections.abc import Iterable, Mapping
from typing import Any, Final, TypeAlias
from uuid import UUID

import msgspec
import rfc8785

MAX_DEPTH: Final = 32
"""Arrays and objects open at once; a bare value has depth 0."""

MAX_INTEGER: Final = 2**53 - 1
"""Largest magnitude every IEEE 754 double reader returns unchanged (RFC 7493, 2.2)."""

Json: TypeAlias = "bool | int | str | list[Json] | dict[str, Json] | None"


class Misplaced(ValueError):
    """Something a JSON text or value may not hold.

    ``detail`` says what, ``pointer`` where (RFC 6901; empty for the whole value).
    """

    def __init__(self, detail: str, pointer: str = "") -> None:
        super().__init__(detail)
        self.detail = detail
        self.pointer = pointer

    def __str__(self) -> str:
        return f"{self.detail} (at {self.pointer})" if self.pointer else self.detail

    def within(self, token: str | int) -> None:
        """Put the fault one level deeper: ``token`` is the member or index that holds it."""
        escaped = str(token).replace("~", "~0").replace("/", "~1")
        self.pointer = f"/{escaped}{self.pointer}"


class NotCanonical(Misplaced):
    """The value has no canonical form here, or the bytes are not it."""


class BadJson(Misplaced):
    """The bytes are not one JSON text with one meaning."""


def canonical_bytes(value: object) -> bytes:
    """The RFC 8785 bytes of ``value``, its strings and member names in NFC.

    Takes mappings with string keys, lists, tuples, strings, UUIDs (as their text), integers
    within ±(2^53−1), booleans and None. Raises :class:`NotCanonical` for anything else: floats
    (NaN among them), decimals, lone surrogates, names that NFC makes equal, and nesting
    beyond :data:`MAX_DEPTH`.
    """
    if _is_plain(value):
        return _PLAIN.encode(value)
    return rfc8785.dumps(_guarded(value, MAX_DEPTH))


_PLAIN: Final = msgspec.json.Encoder(order="sorted")
"""Writes what `_is_plain` lets through as RFC 8785 does, five times as fast: names in
ASCII sort alike by code point and by UTF-16, and there are no numbers but integers."""


def read_plain(data: bytes) -> object | None:
    """What ``data`` says, where it is that value's canonical form and nothing about it needs
    thought; None where it may yet be, and :func:`parse_strict` must look. Several times as fast,
    and never another value: whoever writes the same bytes again read them as they were meant."""
    try:
        value = msgspec.json.decode(data)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None
    return value if _is_plain(value) and _PLAIN.encode(value) == data else None


def _is_plain(value: Any, room: int = MAX_DEPTH) -> bool:
    """Whether nothing about the value needs thought: in nearly every entry nothing does."""
    kind = type(value)
    if kind is str:
        return bool(value.isascii())
    if kind is dict:
        return _has_plain_names(value) and _are_plain(value.values(), room)
    if kind is list or kind is tuple:
        return _are_plain(value, room)
    if kind is int:
        return bool(-MAX_INTEGER <= value <= MAX_INTEGER)
    return value is None or kind is bool or kind is UUID


def _are_plain(parts: Iterable[object], room: int) -> bool:
    if room == 0:
        return False
    for one in parts:  # noqa: SIM110  all() over a generator takes twice as long
        if not (one.isascii() if type(one) is str else _is_plain(one, room - 1)):
            return False
    return True


def _has_plain_names(named: Iterable[Any]) -> bool:
    try:
        return "".join(named).isascii()
    except TypeError:  # not all of them text
        return False


def _guarded(value: object, room: int) -> Json:
    if isinstance(value, str):
        return _text(value)
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, int):
        return _integer(value)
    if isinstance(value, UUID):
        return str(value)
    if isinstance(value, Mapping):
        return _members(value, room)
    if isinstance(value, (list, tuple)):
        return _elements(value, room)
    raise NotCanonical(_why_not(value))


def _text(value: str) -> str:
    if value.isascii():
        return value
    if not _is_unicode(value):
        raise NotCanonical("the text holds a lone surrogate, which UTF-8 cannot carry")
    return unicodedata.normalize("NFC", value)


def _is_unicode(text: str) -> bool:
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True


def _integer(value: int) -> int:
    if -MAX_INTEGER <= value <= MAX_INTEGER:
        return value
    raise NotCanonical("an integer beyond ±(2^53−1) must be a decimal string")


def _why_not(value: object) -> str:
    if isinstance(value, float):
        return "a floating-point number must be a decimal string"
    return f"{type(value).__name__} is not a JSON type; numbers that matter are decimal strings"


def _members(value: Mapping[object, object], room: int) -> dict[str, Json]:
    _require(room)
    members: dict[str, Json] = {}
    for key, member in value.items():
        name = _name(key)
        if name in members:
            raise NotCanonical(f"two members are named {name!r} once normalised")
        try:
            members[name] = _guarded(member, room - 1)
        except NotCanonical as fault:
            fault.within(name)
            raise
    return members


def _name(key: object) -> str:
    if isinstance(key, str):
        return _text(key)
    raise NotCanonical(f"the member name {key!r} is not a string")


def _elements(value: list[object] | tuple[object, ...], room: int) -> list[Json]:
    _require(room)
    elements: list[Json] = []
    for position, element in enumerate(value):
        try:
            elements.append(_guarded(element, room - 1))
        except NotCanonical as fault:
            fault.within(position)
            raise
    return elements


def _require(room: int) -> None:
    if room < 1:
        raise NotCanonical(f"nested deeper than {MAX_DEPTH} levels")


def parse_strict(data: bytes, max_bytes: int) -> object:
    """Read one JSON text of at most ``max_bytes`` bytes that every reader reads alike.

    Raises :class:`BadJson` for bytes that are not UTF-8 JSON, anything after the value,
    a member named twice, NaN, Infinity and numbers beyond a double, lone surrogates, and
    nesting beyond :data:`MAX_DEPTH` (the demands of RFC 7493, I-JSON). Finite fractions
    come back as floats; only :func:`canonical_bytes` refuses those.
    """
    text = _decoded(data, max_bytes)
    decoder = _FULL if _SURROGATE_ESCAPE.search(text) else _QUICK
    try:
        value = _read(text, decoder)
    except _Doubtful:
        # The quick read cannot say where it stumbled; only then is the text read again.
        decoder, value = _FULL, _read(text, _FULL)
    _limit_depth(data)
    return _examined(value) if decoder is _FULL else value


class _Doubtful(Exception):
    """The quick read met something that is not I-JSON."""


class _Pairs(list[tuple[str, object]]):
    """An object's members as written, duplicates kept."""


def _distinct(pairs: list[tuple[str, object]]) -> dict[str, object]:
    members = dict(pairs)
    if len(members) != len(pairs):
        raise _Doubtful
    return members


def _finite(literal: str) -> float:
    number = float(literal)
    if math.isinf(number):
        raise _Doubtful
    return number


def _no_constant(literal: str) -> object:
    raise _Doubtful


_QUICK = json.JSONDecoder(
    object_pairs_hook=_distinct, parse_float=_finite, parse_constant=_no_constant
)
_FULL = json.JSONDecoder(object_pairs_hook=_Pairs)
_SURROGATE_ESCAPE = re.compile(r"\\u[dD][89a-fA-F]")


def _decoded(data: bytes, max_bytes: int) -> str:
    if len(data) > max_bytes:
        raise BadJson(f"{len(data)} bytes, more than the {max_bytes} allowed")
    try:
        return data.decode()
    except UnicodeDecodeError as fault:
        raise BadJson(f"not UTF-8 at byte {fault.start}") from None


def _read(text: str, decoder: json.JSONDecoder) -> object:
    try:
        return decoder.decode(text)
    except json.JSONDecodeError as fault:
        where = f"line {fault.lineno} column {fault.colno}"
        raise BadJson(f"not JSON, {where}: {fault.msg}") from None
    except RecursionError:
        raise BadJson(f"nested deeper than {MAX_DEPTH} levels") from None
    except ValueError:
        raise BadJson("an integer has too many digits to be read") from None


_ALL_SQUARE = bytes.maketrans(b"{}", b"[]")
_NEITHER_QUOTES_NOR_BRACKETS = bytes(set(range(256)) - set(b'"[]{}'))


def _limit_depth(valid: bytes) -> None:
    """Refuse a JSON text, already known to be valid, that nests beyond the limit.

    With escapes gone, and all but quotes and brackets, every second piece between quotes
    lies outside a string. Each round of erasing ``[]`` then takes off the innermost level.
    All of it runs at the speed of ``bytes`` methods rather than of a walk over the values.
    """
    if valid.count(b"[") + valid.count(b"{") <= MAX_DEPTH:
        return
    unescaped = valid.replace(b"\\\\", b"").replace(b'\\"', b"")
    marks = unescaped.translate(_ALL_SQUARE, _NEITHER_QUOTES_NOR_BRACKETS)
    shape = b"".join(marks.split(b'"')[::2])
    for _ in range(MAX_DEPTH):
        shape = shape.replace(b"[]", b"")
    if shape:
        raise BadJson(f"nested deeper than {MAX_DEPTH} levels")


def _examined(node: object) -> object:
    """The plain value of a full read; :class:`BadJson` at the first thing I-JSON forbids."""
    if isinstance(node, str) and not _is_unicode(node):
        raise BadJson("a string holds a lone surrogate")
    if isinstance(node, float) and not math.isfinite(node):
        raise BadJson("NaN, Infinity and numbers beyond a double are not JSON")
    if isinstance(node, _Pairs):
        return _examined_members(node)
    if isinstance(node, list):
        return [_examined_in(position, element) for position, element in enumerate(node)]
    return node


def _examined_members(pairs: _Pairs) -> dict[str, object]:
    members: dict[str, object] = {}
    for name, member in pairs:
        _examined(name)
        if name in members:
            raise BadJson(f"two members are named {name!r}")
        members[name] = _examined_in(name, member)
    return members


def _examined_in(token: str | int, node: object) -> object:
    try:
        return _examined(node)
    except BadJson as fault:
        fault.within(token)
        raise
