"""From what a client sent to a typed, sealed fact; pure but for the salt it is handed.

A submission is ``{id, kind, at, about, body, texts, sig}``. ``texts`` carries the free text
of commitment fields, as plain text (the server salts it) or as ``{text, salt}``. ``sig`` is
the sending device's signature over the entry as the log will hold it; a device that signs
salts its texts itself.
"""

import re
import unicodedata
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, TypeVar
from uuid import UUID

import msgspec

from scalewitness.domain import facts
from scalewitness.domain.errors import OutOfRange, TooLarge, UnknownKind, WrongShape
from scalewitness.domain.ids import parse_uuid7
from scalewitness.domain.translog.commitment import commit
from scalewitness.intake.clocks import check_correction, claimed_at
from scalewitness.intake.ranges import check_ranges
from scalewitness.ledger.services.writing import Draft

T = TypeVar("T")

TEXT_LIMIT = 4000
BODY_LIMIT = 60_000
"""Bytes; leaves room for the rest of a log entry within its 65,535 (C2SP tlog-tiles)."""


class SaltedText(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    text: str
    salt: str


class Submission(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The envelope as sent."""

    id: str
    kind: str
    at: str
    about: facts.Id
    body: dict[str, Any]
    texts: dict[str, str | SaltedText] = {}
    sig: facts.Signature | None = None


class Sealed(msgspec.Struct, frozen=True):
    """A fact ready to be judged: typed body, commitments in place of its texts.

    ``proved`` is the key that ``sig`` was found to fit; ``salted_here`` says that a text
    came without a salt; ``draft`` is its entry, as one of who sent it.
    """

    id: UUID
    kind: str
    at: datetime
    about: UUID
    body: facts.Body
    texts: dict[str, tuple[bytes, str]]
    flags: tuple[str, ...]
    sig: str | None = None
    proved: bytes | None = None
    salted_here: bool = False
    draft: Draft | None = None

    def logged_body(self) -> dict[str, Any]:
        """The body as it enters the log."""
        built: dict[str, Any] = msgspec.to_builtins(self.body)
        return built


def read(item: object) -> Submission:
    """The envelope, checked for shape only.

    Raises:
        WrongShape: with a JSON pointer to the place.
        UnknownKind: no such fact, or one that only the record itself states.
    """
    submission = shaped(item, Submission, "")
    if submission.kind not in facts.BODIES or submission.kind in facts.SYSTEM_KINDS:
        raise UnknownKind(f"There is no fact called “{submission.kind[:60]}”.", pointer="/kind")
    return submission


def seal(submission: Submission, received_at: datetime, salt_of: Callable[[str], bytes]) -> Sealed:
    """Type the body and commit to its texts. ``salt_of(field)`` gives 32 bytes for a
    text that came without a salt.

    Raises:
        Refused: a subclass that says what is wrong, with a JSON pointer.
    """
    try:
        fact_id = parse_uuid7(submission.id)
    except ValueError as problem:
        raise WrongShape(str(problem), pointer="/id") from None
    at, flags = claimed_at(submission.at, received_at)
    texts = {field: _salted(field, given, salt_of) for field, given in submission.texts.items()}
    body = _body(submission, texts)
    if len(msgspec.json.encode(body)) > BODY_LIMIT:
        raise TooLarge(f"A body holds at most {BODY_LIMIT} bytes.", pointer="/body")
    check_ranges(body, received_at)
    check_correction(body, at, received_at)
    return Sealed(
        id=fact_id,
        kind=submission.kind,
        at=at,
        about=UUID(submission.about),
        body=body,
        texts=texts,
        flags=flags,
        sig=submission.sig,
        salted_here=any(isinstance(given, str) for given in submission.texts.values()),
    )


def shaped(value: object, type: type[T], where: str = "") -> T:
    """``value`` as a msgspec type; ``where`` is the JSON pointer at which it stands.

    Raises:
        WrongShape: with a JSON pointer to the place.
    """
    try:
        return msgspec.convert(value, type)
    except msgspec.ValidationError as problem:
        detail, _, path = str(problem).partition(" - at `$")
        raise WrongShape(f"{detail}.", pointer=where + as_pointer(path.rstrip("`"))) from None


def as_pointer(path: str) -> str:
    """``.observed.passes[0].side`` as the JSON pointer ``/observed/passes/0/side``; a place
    in an object of free names (``[...]``) as the object itself."""
    return re.sub(r"\[(\d+)\]", r"/\1", path.replace("[...]", "")).replace(".", "/")


def _salted(
    field: str, given: str | SaltedText, salt_of: Callable[[str], bytes]
) -> tuple[bytes, str]:
    pointer = f"/texts/{field}"
    text = given if isinstance(given, str) else given.text
    if not text.strip() or len(text) > TEXT_LIMIT:
        raise OutOfRange(f"A text has 1 to {TEXT_LIMIT} characters.", pointer=pointer)
    if "\x00" in text:
        raise OutOfRange("A text has no NUL characters.", pointer=pointer)
    if isinstance(given, str):
        return salt_of(field), unicodedata.normalize("NFC", text)
    try:
        salt = bytes.fromhex(given.salt)
    except ValueError:
        salt = b""
    if len(salt) != 32:
        raise WrongShape("A salt is 64 hexadecimal digits.", pointer=f"{pointer}/salt")
    return salt, unicodedata.normalize("NFC", text)


def _body(submission: Submission, texts: Mapping[str, tuple[bytes, str]]) -> facts.Body:
    """The typed body, each text's commitment in its field."""
    type = facts.BODIES[submission.kind]
    allowed = {field for field in facts.TEXTS if field in type.__struct_fields__}
    body = dict(submission.body)
    for field, (salt, text) in texts.items():
        if field not in allowed:
            raise WrongShape(f"A {submission.kind} has no text “{field[:40]}”.", pointer="/texts")
        made = commit(text, salt)
        if body.setdefault(field, made) != made:
            raise WrongShape("The text does not fit its commitment.", pointer=f"/body/{field}")
    for field in allowed - texts.keys():
        if body.get(field) is not None:
            raise WrongShape("A commitment comes with its text and salt.", pointer=f"/body/{field}")
    return shaped(body, type, "/body")
