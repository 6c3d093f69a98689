"""Text without the secrets that an address may hold, and without whom it is about.

Whoever has a link's token is the buyer. A secret is known by where it stands
(`tests/serving/test_logs.py` takes the places from the table of addresses) and, wherever it stands,
by how it is made. So are addresses of letters and of machines, of which loopback stays.
"""

import re
from contextlib import suppress
from ipaddress import ip_address
from typing import Final

MASK: Final = "***"

_STROKE: Final = "(?:/|%2F|%252F)"
"""Also in an address that is part of another's query."""
_VALUE: Final = rf"(?:(?!{_STROKE})[^\s?&#\"'<>])+"
_AFTER: Final = rf"(?:offers|by-link|sign-out|confirm-email|reset{_STROKE}key)"
_COLON: Final = "(?::|%3A|%253A)"
_NAMES: Final = "token|key|code|password|secret|email"

_RULES: Final = (
    (re.compile(rf"({_STROKE}{_AFTER}{_STROKE}){_VALUE}", re.IGNORECASE), rf"\1{MASK}"),
    (
        re.compile(rf"((?:[?&;]|%3F|%26)(?:{_NAMES})(?:=|%3D))[^&\s\"'#<>]+", re.IGNORECASE),
        rf"\1{MASK}",
    ),
    # What Django signs: a value, perhaps a time, 32 bytes as base64url.
    (
        re.compile(
            rf"(?<![\w-])[\w-]{{1,80}}(?:{_COLON}[\w-]{{1,16}})?{_COLON}[\w-]{{43}}(?![\w-])"
        ),
        MASK,
    ),
    # The link to a new password: whose, a time, 16 bytes as hexadecimal digits.
    (re.compile(r"(?<![\w-])[0-9a-z]{1,32}-[0-9a-z]{6,7}-[0-9a-f]{32}(?![\w-])"), MASK),
    (re.compile(r"\b(bearer|basic)\s+[\w.~+/=-]+", re.IGNORECASE), rf"\1 {MASK}"),
    # Name and password before a host.
    (re.compile(r"(?<=://)[^/\s@\"'<>]+@"), f"{MASK}@"),
    (re.compile(r"(?<![\w.+-])[\w.+-]+(?:@|%40)[\w-]+(?:\.[\w-]+)+"), MASK),
    # What PostgreSQL tells of a row that it refused, to its end: it may be the whole row.
    (re.compile(r"\bDETAIL: .*", re.DOTALL), f"DETAIL: {MASK}"),
)
_MACHINES: Final = re.compile(
    r"(?<![\w.])\d{1,3}(?:\.\d{1,3}){3}(?!\.?\w)"
    r"|(?<![\w:.])(?=[\da-fA-F]*:[\da-fA-F:]*:)[\da-fA-F:]{2,39}(?![\w:])"
)


def masked(text: str) -> str:
    """The text with each secret replaced by three stars; the rest stays as it is."""
    for pattern, instead in _RULES:
        text = pattern.sub(instead, text)
    return _MACHINES.sub(_unless_loopback, text)


def _unless_loopback(found: re.Match[str]) -> str:
    with suppress(ValueError):
        address = ip_address(found[0])
        if not address.is_loopback and not address.is_unspecified:
            return MASK
    return found[0]
