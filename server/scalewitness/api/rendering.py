"""JSON out, straight from the typed shapes."""

from collections.abc import Mapping
from typing import Any

import msgspec
from rest_framework.renderers import BaseRenderer


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
        return b"" if data is None else msgspec.json.encode(data)
