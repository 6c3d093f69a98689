"""Query parameters: read, checked and described in one place."""

import re
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol, TypeVar
from uuid import UUID

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from rest_framework.request import Request

from scalewitness.domain.errors import Malformed
from scalewitness.domain.moments import parse_moment
from scalewitness.domain.translog.canonical import MAX_INTEGER

Given = TypeVar("Given")
_WHOLE = re.compile(r"0|[1-9][0-9]{0,15}")


class RequestParameter(Protocol):
    """What the OpenAPI document needs of a parameter."""

    @property
    def name(self) -> str: ...

    @property
    def about(self) -> str: ...

    @property
    def required(self) -> bool: ...

    @property
    def schema(self) -> dict[str, Any]: ...


@dataclass(frozen=True, slots=True)
class Whole:
    """A whole number, ``default`` when absent."""

    name: str
    about: str
    default: int | None = None
    least: int = 0
    most: int = MAX_INTEGER
    required: bool = False

    @property
    def schema(self) -> dict[str, Any]:
        found: dict[str, Any] = {"type": "integer", "minimum": self.least, "maximum": self.most}
        return found if self.default is None else found | {"default": self.default}

    def read(self, request: Request) -> int | None:
        """Raises Malformed when it is no such number, or named twice."""
        named = request.query_params.getlist(self.name)
        if not named:
            return self.default
        given = named[0]
        if len(named) > 1 or not _WHOLE.fullmatch(given):
            raise bad_parameter(self.name, "It is one whole number in decimal digits.")
        if not self.least <= int(given) <= self.most:
            raise bad_parameter(self.name, f"It lies between {self.least} and {self.most}.")
        return int(given)

    def need(self, request: Request) -> int:
        """Raises Malformed also when it is missing."""
        return _there(self.name, self.read(request))


@dataclass(frozen=True, slots=True)
class Id:
    """The id of a record."""

    name: str
    about: str
    required: bool = False

    @property
    def schema(self) -> dict[str, Any]:
        return {"type": "string", "format": "uuid"}

    def read(self, request: Request) -> UUID | None:
        """Raises Malformed when it is no UUID."""
        given = request.query_params.get(self.name)
        try:
            return None if given is None else UUID(given)
        except ValueError:
            raise bad_parameter(self.name, "It is an id (UUID).") from None

    def need(self, request: Request) -> UUID:
        """Raises Malformed also when it is missing."""
        return _there(self.name, self.read(request))


@dataclass(frozen=True, slots=True)
class Ids:
    """Several ids of records, each once; always required."""

    name: str
    about: str
    least: int
    most: int
    required: bool = True

    @property
    def schema(self) -> dict[str, Any]:
        one = r"[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}"
        return {"type": "string", "pattern": f"^{one}(,{one}){{{self.least - 1},{self.most - 1}}}$"}

    def read(self, request: Request) -> list[UUID]:
        """Raises Malformed when one is no UUID or they are too few or too many."""
        given = request.query_params.get(self.name, "").split(",")
        try:
            ids = list(dict.fromkeys(UUID(one) for one in given))
        except ValueError:
            raise bad_parameter(self.name, "They are ids (UUIDs) with commas between.") from None
        if not self.least <= len(ids) <= self.most:
            raise bad_parameter(self.name, f"Name between {self.least} and {self.most}.")
        return ids


@dataclass(frozen=True, slots=True)
class When:
    """A moment."""

    name: str
    about: str
    required: bool = False

    @property
    def schema(self) -> dict[str, Any]:
        return {"type": "string", "format": "date-time"}

    def read(self, request: Request) -> datetime | None:
        """Raises Malformed when it is no RFC 3339 time with an offset."""
        given = request.query_params.get(self.name)
        try:
            # A plus sign that was not escaped arrives as a space.
            return None if given is None else parse_moment(given.replace(" ", "+"))
        except ValueError:
            raise bad_parameter(self.name, "It is an RFC 3339 time with an offset.") from None


@dataclass(frozen=True, slots=True)
class OneOf:
    """One of a few words, the first where none is given."""

    name: str
    about: str
    words: tuple[str, ...]
    required: bool = False

    @property
    def schema(self) -> dict[str, Any]:
        return {"type": "string", "enum": list(self.words), "default": self.words[0]}

    def read(self, request: Request) -> str:
        """Raises Malformed when it is another word."""
        given = request.query_params.get(self.name, self.words[0])
        if given not in self.words:
            raise bad_parameter(self.name, f"It is one of: {', '.join(self.words)}.")
        return given


@dataclass(frozen=True, slots=True)
class Opaque:
    """Text that only the server reads."""

    name: str
    about: str
    most: int = 100
    required: bool = False

    @property
    def schema(self) -> dict[str, Any]:
        return {"type": "string", "maxLength": self.most}

    def read(self, request: Request) -> str | None:
        return request.query_params.get(self.name)


@dataclass(frozen=True, slots=True)
class Text:
    """Some text, empty when absent."""

    name: str
    about: str
    most: int = 80
    required: bool = False

    @property
    def schema(self) -> dict[str, Any]:
        return {"type": "string", "maxLength": self.most}

    def read(self, request: Request) -> str:
        """Raises Malformed when it is too long, or holds what no text does."""
        given = request.query_params.get(self.name, "")
        if len(given) > self.most or "\x00" in given:
            raise bad_parameter(self.name, f"It is text of up to {self.most} characters.")
        return given.strip()


@dataclass(frozen=True, slots=True)
class Email:
    """One e-mail address; always required."""

    name: str
    about: str
    required: bool = True

    @property
    def schema(self) -> dict[str, Any]:
        return {"type": "string", "format": "email"}

    def read(self, request: Request) -> str:
        """Raises Malformed when it is missing or no address."""
        given = request.query_params.get(self.name, "")
        try:
            validate_email(given)
        except ValidationError:
            raise bad_parameter(self.name, "It is one e-mail address.") from None
        return given


def _there(name: str, given: Given | None) -> Given:
    if given is None:
        raise bad_parameter(name, "It is missing.")
    return given


def bad_parameter(name: str, detail: str) -> Malformed:
    """A refusal that names the query parameter it is about."""
    return Malformed(f"“{name}”: {detail}", parameter=name)
