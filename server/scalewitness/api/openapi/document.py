"""The whole document, and the views' part in drf-spectacular."""

import json
from functools import cache
from typing import Any

from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.plumbing import ResolvedComponent

from scalewitness.api.openapi.components import Components
from scalewitness.api.openapi.describing import BEARER, describe
from scalewitness.api.views import Resource

SIGN_IN = {"type": "http", "scheme": "bearer", "description": "A device's token."}


class OperationSchema(AutoSchema):
    """Describes a `Resource` from its operations instead of by guessing at serializers."""

    def get_operation(
        self, path: str, path_regex: str, path_prefix: str, method: str, registry: Any
    ) -> dict[str, Any] | None:
        if not isinstance(self.view, Resource):
            return None
        components = Components()
        found = describe(self.view.operations[method.lower()], path, method, components)
        for name, schema in components.schemas.items():
            registry.register_on_missing(_component(name, ResolvedComponent.SCHEMA, schema))
        registry.register_on_missing(_component(BEARER, ResolvedComponent.SECURITY_SCHEMA, SIGN_IN))
        return found


def _component(name: str, kind: Any, schema: dict[str, Any]) -> Any:
    made: Any = ResolvedComponent
    return made(name, kind, schema, object=name)


@cache
def document() -> bytes:
    """The whole document as JSON, made once a process."""
    generator: Any = SchemaGenerator
    made = generator().get_schema(request=None, public=True)
    return json.dumps(made, ensure_ascii=False).encode()
