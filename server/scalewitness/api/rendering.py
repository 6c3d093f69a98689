"""JSON out, straight from the typed shapes."""

from collections.abc import Mapping
from typing import Any

import msgspec
from rest_framework.renderers import BaseRenderer

from scalewitness.api.positions import gives_positions, with_origin


class ShapeRenderer(BaseRenderer):
    """Structs, ids and moments as JSON: UTF-8, RFC 3339 times, decimals as strings."""

    media_type = "application/json"
    format = "json"
    charset = None

    def render(
        self,
        data: Any,
        accepted_media_type: str | None = None,
        renderer_context: Mapping[str, Any] | None = None,
    ) -> bytes:
        if isinstance(data, bytes):
            return data  # a file, handed on as it is
        if data is None:
            return b""
        encoded = msgspec.json.encode(data)
        return with_origin(encoded) if _gives_positions(renderer_context or {}) else encoded


def _gives_positions(context: Mapping[str, Any]) -> bool:
    """Of what an operation gives; a refusal is none of it."""
    asked = getattr(context.get("view"), "operation", None)
    answer = context.get("response")
    if asked is None or answer is None:
        return False
    return gives_positions(asked.gives.get(answer.status_code))
