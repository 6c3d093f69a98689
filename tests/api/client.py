"""A client that checks every answer against the OpenAPI document it was promised by."""

import json
import re
from collections.abc import Mapping
from copy import deepcopy
from functools import cache
from itertools import count
from typing import Any

from django.http import HttpResponse
from django.test import Client
from django.utils import timezone
from jsonschema import Draft202012Validator
from tests.world import new_id

from scalewitness.api.openapi.document import document
from scalewitness.domain.moments import rfc3339
from scalewitness.people.models import Keeper
from scalewitness.people.services import enrol_device

BASE = "/api/v1"
_hosts = count(1)


class Api:
    """Speaks for one keeper's device, or for nobody; each from an address of its own."""

    def __init__(self, keeper: Keeper | None = None, device: str = "phone") -> None:
        host = next(_hosts)
        self.address = f"10.{host >> 16 & 255}.{host >> 8 & 255}.{host & 255}"
        self.headers: dict[str, str] = {}
        if keeper is not None:
            self.device, token = enrol_device(keeper, device, timezone.now())
            self.headers["Authorization"] = f"Bearer {token}"

    def get(self, path: str, headers: Mapping[str, str] | None = None, **query: Any) -> "Answer":
        return self._ask("GET", path, headers=headers, query=query)

    def post(
        self, path: str, body: object = None, headers: Mapping[str, str] | None = None
    ) -> "Answer":
        return self._ask("POST", path, json.dumps(body or {}).encode(), headers)

    def patch(self, path: str, body: object, headers: Mapping[str, str] | None = None) -> "Answer":
        return self._ask("PATCH", path, json.dumps(body).encode(), headers)

    def put(self, path: str, body: object) -> "Answer":
        return self._ask("PUT", path, json.dumps(body).encode())

    def delete(self, path: str, headers: Mapping[str, str] | None = None) -> "Answer":
        return self._ask("DELETE", path, headers=headers)

    def raw(
        self, method: str, path: str, data: bytes, content_type: str = "application/json"
    ) -> "Answer":
        """Bytes as they are, for what no honest client would send."""
        return self._ask(method, path, data, content_type=content_type)

    def _ask(
        self,
        method: str,
        path: str,
        data: bytes = b"",
        headers: Mapping[str, str] | None = None,
        query: Mapping[str, Any] | None = None,
        content_type: str = "application/json",
    ) -> "Answer":
        served = Client(**{"wsgi.multithread": True})  # as by gunicorn; Django's says otherwise
        response = served.generic(
            method,
            f"{BASE}{path}",
            data,
            content_type,
            query_params=dict(query or {}),
            headers={**self.headers, **(headers or {})},
            REMOTE_ADDR=self.address,
        )
        answer = Answer(response)
        check_against_document(method, path, answer)
        if answer.status < 400 and isinstance(answer.body, dict):
            answer.log_origin = answer.body.pop("log_origin", None)
        return answer


class Answer:
    """An answer with its body read. ``log_origin``: whose its positions are, taken out of the body
    once that was held to the document."""

    log_origin: str | None = None

    def __init__(self, response: HttpResponse) -> None:
        self.status = response.status_code
        self.headers = response.headers
        self.body: Any = _read(response)

    @property
    def code(self) -> str:
        """The problem's stable code."""
        assert self.headers["Content-Type"] == "application/problem+json"
        assert self.body["status"] == self.status
        return str(self.body["code"])

    @property
    def pointer(self) -> str:
        return str(self.body["errors"][0]["pointer"])

    def __repr__(self) -> str:
        return f"{self.status} {self.body}"


def _read(response: HttpResponse) -> Any:
    """JSON, or the text of a file."""
    if response.headers.get("Content-Type", "").startswith("text/plain"):
        return response.content.decode()
    return json.loads(response.content) if response.content else None


def fact(body: Mapping[str, Any] | None = None, **more: Any) -> dict[str, Any]:
    """An envelope as a client sends it; ``body`` None: none."""
    sent = {"id": str(new_id(timezone.now())), "at": rfc3339(timezone.now()), **more}
    return sent if body is None else {**sent, "body": dict(body)}


# --- the contract ---------------------------------------------------------------------


@cache
def contract() -> dict[str, Any]:
    """The document, with every object closed that is not open on purpose."""
    found = deepcopy(json.loads(document()))
    for name, schema in found["components"]["schemas"].items():
        if name != "Problem" and "properties" in schema:
            schema.setdefault("additionalProperties", False)
    return found


@cache
def _templates() -> list[tuple[re.Pattern[str], dict[str, Any]]]:
    return [
        (re.compile(re.sub(r"\{\w+\}", "[^/]+", path)), operations)
        for path, operations in contract()["paths"].items()
    ]


def check_against_document(method: str, path: str, answer: Answer) -> None:
    """Status, content type and shape must be documented; a method that a path does not
    have is only checked to be refused as a problem."""
    asked = f"{BASE}{path}"
    found = [ops for pattern, ops in _templates() if pattern.fullmatch(asked)]
    found = [contract()["paths"][asked]] if asked in contract()["paths"] else found
    operations = next((ops for ops in found if method.lower() in ops), None)
    if operations is None:
        assert answer.status in {401, 404, 405}, (method, path, answer)
        return
    responses = operations[method.lower()]["responses"]
    assert str(answer.status) in responses, f"{method} {path} does not document {answer}"
    content = responses[str(answer.status)].get("content")
    if content is None:
        assert answer.body is None
        return
    schema = content[answer.headers["Content-Type"]]["schema"]
    _validator(json.dumps(schema)).validate(answer.body)
    if answer.status >= 400:
        codes = responses[str(answer.status)]["description"].split(": ")[1].split(", ")
        assert answer.code in codes, f"{method} {path} does not document {answer}"


@cache
def _validator(schema: str) -> Draft202012Validator:
    return Draft202012Validator({**json.loads(schema), "components": contract()["components"]})
