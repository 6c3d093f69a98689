"""One operation as an OpenAPI operation object."""

import re
from collections import defaultdict
from collections.abc import Iterable
from http import HTTPStatus
from typing import Any, get_origin

from scalewitness.api.openapi.components import Components
from scalewitness.api.operations import JSON, Operation
from scalewitness.api.problems import MEDIA_TYPE, Problem
from scalewitness.domain.errors import (
    AddressUnconfirmed,
    BadSignature,
    Busy,
    Fenced,
    LinkGone,
    Malformed,
    NotFound,
    OutcomeUnknown,
    Refused,
    SecondFactorMissing,
    SecondFactorNotFresh,
    SecondFactorNotTaken,
    TooLarge,
    VersionMissing,
    VersionStale,
    WrongShape,
)

BEARER = "deviceToken"
Object = dict[str, Any]


def describe(one: Operation, path: str, method: str, components: Components) -> Object:
    """``path`` as in the document, with ``{id}`` or ``{token}``."""
    found: Object = {
        "operationId": one.name,
        "summary": one.summary,
        "tags": [one.noun.replace("_", " ")],
        "parameters": [*_path(path), *_query(one), *_headers(one)],
        "responses": {**_answers(one, components), **_refusals(one, path, method, components)},
        "security": [] if one.anonymous else [{BEARER: []}],
    }
    if one.description:
        found["description"] = one.description
    for mentioned in one.mentions:
        components.schema(mentioned)
    if one.takes is not None:
        content = {one.takes_media: {"schema": components.schema(one.takes)}}
        found["requestBody"] = {"required": True, "content": content}
    return found


def _path(path: str) -> Iterable[Object]:
    for name in re.findall(r"\{(\w+)\}", path):
        schema = {"type": "string"} | ({} if name == "token" else {"format": "uuid"})
        yield {"name": name, "in": "path", "required": True, "schema": schema}


def _query(one: Operation) -> Iterable[Object]:
    for parameter in one.query:
        yield {
            "name": parameter.name,
            "in": "query",
            "required": parameter.required,
            "description": parameter.about,
            "schema": parameter.schema,
        }


def _headers(one: Operation) -> Iterable[Object]:
    if one.edits:
        yield _header("If-Match", 'The version edited, such as `"v3"`.', required=True)
    if one.keyed:
        about = 'For facts sent without an id: a quoted string, such as `"k-17"`. Kept for good.'
        yield _header("Idempotency-Key", about)
    if one.grave:
        about = "A code of the authenticator app, or a recovery code; used up by this request."
        yield _header("Second-Factor-Code", about)


def _header(name: str, about: str, *, required: bool = False) -> Object:
    return {
        "name": name,
        "in": "header",
        "required": required,
        "description": about,
        "schema": {"type": "string"},
    }


def _answers(one: Operation, components: Components) -> Object:
    return {
        str(status): _answer(status, type, one.media, components)
        for status, type in one.gives.items()
    }


def _answer(status: int, type: Any, media: str, components: Components) -> Object:
    found: Object = {"description": HTTPStatus(status).phrase}
    if type is not None:
        schema = components.answer if media == JSON else components.schema
        found["content"] = {media: {"schema": schema(type)}}
    return found


def _refusals(one: Operation, path: str, method: str, components: Components) -> Object:
    """Problem details by status, each with the codes that may stand in it."""
    codes: defaultdict[int, set[str]] = defaultdict(set)
    for refused in (*one.refuses, *_common(one, path, method), *_second_factor(one)):
        codes[refused.status].add(refused.code)
    for status, code in _of_the_edge(one):
        codes[status].add(code)
    content = {MEDIA_TYPE: {"schema": components.schema(Problem)}}
    return {
        str(status): {
            "description": f"{HTTPStatus(status).phrase}: {', '.join(sorted(found))}",
            "content": content,
        }
        for status, found in sorted(codes.items())
    }


def _common(one: Operation, path: str, method: str) -> Iterable[type[Refused]]:
    """What follows from how an operation is called."""
    yield Busy
    if one.takes is not None:
        yield from (Malformed, TooLarge, WrongShape)
    if "sig" in _members(one.takes):
        yield BadSignature
    if one.query:
        yield Malformed
    if one.edits:
        yield from (VersionMissing, VersionStale)
    if "{" in path:
        yield NotFound
    if "{token}" in path:
        yield LinkGone
    if one.is_for_later(method):
        yield from (Fenced, OutcomeUnknown)
        yield from (() if one.anonymous else (AddressUnconfirmed,))


def _second_factor(one: Operation) -> Iterable[type[Refused]]:
    if one.grave:
        yield from (SecondFactorNotFresh, SecondFactorNotTaken)
    if not one.anonymous:
        yield SecondFactorMissing


def _members(taken: Any) -> tuple[str, ...]:
    """The names of what a request body may hold; of a generic one too."""
    members: tuple[str, ...] = getattr(get_origin(taken) or taken, "__struct_fields__", ())
    return members


def _of_the_edge(one: Operation) -> Iterable[tuple[int, str]]:
    """Refusals that come before any of our own."""
    if not one.anonymous:
        yield from ((401, "not_authenticated"), (401, "authentication_failed"))
    if one.takes is not None:
        yield (415, "unsupported_media_type")
    if one.throttle or one.grave or LinkGone in one.refuses:
        yield (429, "throttled")
