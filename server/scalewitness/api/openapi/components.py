"""Types as JSON Schema, collected as components."""

from functools import cache
from typing import Any

import msgspec

TEMPLATE = "#/components/schemas/{name}"


class Components:
    """Schemas by name; one name never stands for two types."""

    def __init__(self) -> None:
        self.schemas: dict[str, Any] = {}

    def schema(self, type: Any) -> dict[str, Any]:
        """The schema of ``type``, usually a reference; what it refers to is collected.

        Raises:
            ValueError: another type already has the name of one of its components.
        """
        found, parts = _schema(type)
        for name, part in parts.items():
            if self.schemas.setdefault(name, part) != part:
                raise ValueError(f"two types are called {name}")
        return found


@cache
def _schema(type: Any) -> tuple[dict[str, Any], dict[str, Any]]:
    (found,), parts = msgspec.json.schema_components([type], ref_template=TEMPLATE)
    return found, {name: _tidy(part) for name, part in parts.items()}


def _tidy(part: dict[str, Any]) -> dict[str, Any]:
    """The docstring as one paragraph."""
    if "description" in part:
        part["description"] = " ".join(part["description"].split())
    return part
