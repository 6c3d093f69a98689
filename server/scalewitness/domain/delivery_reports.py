"""What mail hosts report of a letter's way, read out of a message (RFC 3462, RFC 3464).

A report is anybody's claim: it comes by unsigned mail. Whoever reads it here decides what a
claim about that letter and that address is worth.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from email import message_from_bytes
from email.errors import MessageError
from email.message import Message
from email.policy import compat32
from typing import Final, Literal, cast, get_args

LIMIT: Final = 1_000_000
"""Bytes; no report of one letter is longer (our judgement)."""
Action = Literal["failed", "delayed", "delivered", "relayed", "expanded"]
STATUS: Final = "message/delivery-status", "message/global-delivery-status"
RETURNED: Final = (
    "message/rfc822",
    "message/global",
    "text/rfc822-headers",
    "message/global-headers",
)
"""Parts that hold the letter or its headers (RFC 3464, RFC 6533)."""
FORMS: Final = frozenset({"rfc822", "utf-8"})
"""Of addresses (RFC 3464, 2.3.1; RFC 6533, 3)."""


class NotAReport(ValueError):
    """The message is no delivery status notification about one letter."""


@dataclass(frozen=True, slots=True)
class DeliveryReport:
    """Of the letter ``message_id``, for one ``recipient`` in lower case. ``status`` as in
    RFC 3463, ``5.1.1``; ``diagnostic``: the far end's words in one line, or nothing."""

    message_id: str
    recipient: str
    action: Action
    status: str
    diagnostic: str


def read_reports(data: bytes) -> tuple[DeliveryReport, ...]:
    """The reports in a message, one for each recipient.

    Raises:
        NotAReport: it is another message, or leaves out what a report must say.
    """
    if len(data) > LIMIT:
        raise NotAReport("too long for a report")
    try:
        message = message_from_bytes(data, policy=compat32)
        return tuple(_reports(message))
    except (MessageError, LookupError, UnicodeError, TypeError, AttributeError) as fault:
        raise NotAReport(str(fault)) from None


def _reports(message: Message) -> Iterator[DeliveryReport]:
    if message.get_content_type() != "multipart/report":
        raise NotAReport("not of the type multipart/report")
    letter = _returned_id(message)
    blocks = [block for part in _parts(message, STATUS) for block in _blocks(part)]
    found = [one for block in blocks if (one := _one(block, letter))]
    if not found:
        raise NotAReport("names no recipient with an action")
    yield from found


def _parts(message: Message, types: tuple[str, ...]) -> list[Message]:
    return [part for part in message.walk() if part.get_content_type() in types]


def _blocks(part: Message) -> list[Message]:
    """Groups of fields, apart by empty lines; the library knows only one of the two types."""
    _, _, text = part.as_bytes().replace(b"\r\n", b"\n").partition(b"\n\n")
    return [message_from_bytes(one.lstrip()) for one in text.split(b"\n\n")]


def _returned_id(message: Message) -> str:
    for part in _parts(message, RETURNED):
        inside = part.get_payload()
        if isinstance(inside, list):
            headers = cast(Message, inside[0])
        else:
            headers = message_from_bytes(cast(bytes, part.get_payload(decode=True)))
        if found := _line(headers.get("Message-ID")):
            return found
    raise NotAReport("does not say which letter it is about")


def _one(block: Message, letter: str) -> DeliveryReport | None:
    """None for the block about the message as a whole."""
    action = _line(block.get("Action")).lower()
    recipient = _address(block.get("Original-Recipient") or block.get("Final-Recipient"))
    if action not in get_args(Action) or not recipient:
        return None
    diagnostic = _line(block.get("Diagnostic-Code")).partition(";")[2].strip()
    status = _line(block.get("Status")).split(" ")[0]
    return DeliveryReport(letter, recipient, cast(Action, action), status[:12], diagnostic[:300])


def _address(field: object) -> str:
    """The address in ``rfc822; somebody@example.org``."""
    kind, _, address = _line(field).partition(";")
    return address.strip().strip("<>").lower() if kind.strip().lower() in FORMS else ""


def _line(field: object) -> str:
    return " ".join(str(field or "").split())
