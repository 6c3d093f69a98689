"""JSON in, strictly: duplicate names, NaN, bad UTF-8 and oversize are refused."""

from collections.abc import Mapping
from typing import IO, Any

from django.conf import settings
from rest_framework.parsers import BaseParser

from scalewitness.domain.errors import Malformed, TooLarge
from scalewitness.domain.pictures.plain import LARGEST_BYTES, MEDIA_TYPE
from scalewitness.domain.translog import bundle
from scalewitness.domain.translog.canonical import BadJson, parse_strict


class PictureParser(BaseParser):
    """A picture's bytes, as they are."""

    media_type = MEDIA_TYPE

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        data: bytes = stream.read(LARGEST_BYTES + 1)
        if len(data) > LARGEST_BYTES:
            raise TooLarge(f"A photo has at most {LARGEST_BYTES:,} bytes.")
        return data


class BundleParser(BaseParser):
    """A bundle's bytes, as they are."""

    media_type = bundle.MEDIA_TYPE

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        data: bytes = stream.read(bundle.MOST_BYTES + 1)
        if len(data) > bundle.MOST_BYTES:
            raise TooLarge(f"A bundle has at most {bundle.MOST_BYTES:,} bytes.")
        return data


class StrictJsonParser(BaseParser):
    media_type = "application/json"

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        limit = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
        data = stream.read(limit + 1)
        if len(data) > limit:
            raise TooLarge(f"A request holds at most {limit} bytes.")
        try:
            return parse_strict(data, max_bytes=limit)
        except BadJson as problem:
            raise Malformed(problem.detail, pointer=problem.pointer) from None
