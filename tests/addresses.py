"""Every address of the service that holds a secret, from the table of addresses itself."""

import re
from collections.abc import Iterator
from typing import Any

from django.urls import URLPattern, URLResolver, get_resolver

IDS = {"UUIDConverter": "01a2153e-0715-7e46-a419-481817e81a97", "IntConverter": "7"}
OPEN = {
    "animal_id": IDS["UUIDConverter"],
    "method": "probing",
    "type": "meal",
    "what": "answer",
    "path": "some/file",
}
"""Parts of an address that are no secrets, though no plain ids, and one of each."""


def secret_addresses(secret: str) -> list[str]:
    """Each with this in place of its secret."""
    found = [_filled(route, pattern, secret) for route, pattern in _routes(get_resolver())]
    return [one for one in found if secret in one]


def _routes(within: URLResolver, before: str = "/") -> Iterator[tuple[str, Any]]:
    for one in within.url_patterns:
        route = before + str(one.pattern)
        if isinstance(one, URLPattern):
            yield route, one.pattern
        else:
            yield from _routes(one, route)


def _filled(route: str, pattern: Any, secret: str) -> str:
    """A part of any other kind than these is taken to be a secret."""
    kinds = {name: type(one).__name__ for name, one in pattern.converters.items()}
    for name in set(re.findall(r"<(?:\w+:)?(\w+)>", route)):
        value = OPEN.get(name) or IDS.get(kinds.get(name, ""), secret)
        route = re.sub(rf"<(?:\w+:)?{name}>", value, route)
    # What a regular expression says beside its names.
    route = re.sub(rf"\(\?P({re.escape(secret)}|[\w/-]+)(?:[^()]|\([^()]*\))*\)", r"\1", route)
    return route.replace("^", "").replace("$", "")
