"""What a request says, typed; anything else is refused with a pointer to the place."""

import re
from collections.abc import Callable
from typing import Annotated, TypeVar

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from msgspec import Meta, Struct
from rest_framework.request import Request

from scalewitness.domain.errors import OutOfRange, VersionMissing, VersionStale
from scalewitness.domain.lines import one_line
from scalewitness.intake.submission import shaped

T = TypeVar("T")

Name = Annotated[str, Meta(min_length=1, max_length=80, description="One line, for people.")]
Address = Annotated[str, Meta(max_length=254, extra_json_schema={"format": "email"})]

_ETAG = re.compile(r'\s*(W/)?"([\x21\x23-\x7e]*)"\s*(?:,|$)')


class Sent(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Base of every body a client sends."""


def body_of(request: Request, type: type[T]) -> T:
    """The request's body as ``type``.

    Raises:
        Malformed, TooLarge: it is no JSON text.
        WrongShape: a member is missing, unknown or of the wrong type.
    """
    return shaped(request.data, type)


def line(text: str, pointer: str, most: int = 80) -> str:
    """A name as people give it, cleaned. Raises OutOfRange."""
    return checked(lambda: one_line(text, most), pointer)


def address(text: str, pointer: str) -> str:
    """One e-mail address. Raises OutOfRange."""
    try:
        validate_email(text)
    except ValidationError:
        raise OutOfRange("This is not an e-mail address.", pointer=pointer) from None
    return text


def checked(read: Callable[[], T], pointer: str) -> T:
    """What ``read`` gives; its ValueError becomes a refusal that points to the place."""
    try:
        return read()
    except ValueError as problem:
        detail = f"{str(problem)[:1].upper()}{str(problem)[1:]}."
        raise OutOfRange(detail, pointer=pointer) from None


def version_wanted(request: Request, current: int) -> int:
    """The version an edit is for: ``current``, if If-Match names it (RFC 9110, 13.1.1).

    Raises:
        VersionMissing: no If-Match, or ``*``, which names no version.
        VersionStale: it names others, or only by a weak tag.
    """
    given = request.headers.get("If-Match", "").strip()
    if given in {"", "*"}:
        raise VersionMissing()
    if current not in _versions(given):
        raise VersionStale(version=current)
    return current


def _versions(given: str) -> set[int]:
    """Versions named by strong tags such as ``"v3"``."""
    strong = [tag for weak, tag in _ETAG.findall(given) if not weak]
    return {int(tag[1:]) for tag in strong if re.fullmatch(r"v[0-9]{1,9}", tag)}


def etag(version: int) -> dict[str, str]:
    """The header that names a record's version."""
    return {"ETag": f'"v{version}"'}


def already_so(request: Request, current: int, same: bool) -> bool:
    """Whether an edit evidently happened already: its fields stand and If-Match names the
    version just before, as when an answer was lost and the edit is sent again."""
    return same and current - 1 in _versions(request.headers.get("If-Match", ""))
