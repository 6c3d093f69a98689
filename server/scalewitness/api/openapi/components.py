"""Types as JSON Schema, collected as components."""

from functools import cache
from typing import Any

import msgspec

from scalewitness.api.positions import described, gives_positions

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

    def answer(self, type: Any) -> dict[str, Any]:
        """As :meth:`schema`, of what an operation gives: the log that its positions are of is said
        at the top of it."""
        found = self.schema(type)
        if not gives_positions(type):
            return found
        names = [one["$ref"].rpartition("/")[2] for one in found.get("anyOf", [found])]
        self.schemas |= {f"{one}OfLog": described(self.schemas[one]) for one in names}
        text = msgspec.json.encode(found).decode()
        for one in names:
            text = text.replace(f'/{one}"', f'/{one}OfLog"')
        answer: dict[str, Any] = msgspec.json.decode(text)
        return answer


@cache
def _schema(type: Any) -> tuple[dict[str, Any], dict[str, Any]]:
    (found,), parts = msgspec.json.schema_components([type], ref_template=TEMPLATE)
    return found, {name: _tidy(part) for name, part in parts.items()}


def _tidy(part: dict[str, Any]) -> dict[str, Any]:
    """The docstring as one paragraph."""
    if "description" in part:
        part["description"] = " ".join(part["description"].split())
    return part
