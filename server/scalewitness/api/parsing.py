"""JSON in, strictly: duplicate names, NaN, bad UTF-8 and oversize are refused."""

from collections.abc import Mapping
from typing import IO, Any

from django.conf import settings
from rest_framework.parsers import BaseParser

from scalewitness.domain.errors import Malformed, TooLarge
from scalewitness.domain.pictures.plain import LARGEST_BYTES, MEDIA_TYPE
from scalewitness.domain.translog import bundle
from scalewitness.domain.translog.canonical import BadJson, parse_strict


class BytesParser(BaseParser):
    """Bytes as they are, of one media type: ``most`` of ``what``."""

    what: str
    most: int

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        data: bytes = stream.read(self.most + 1)
        if len(data) > self.most:
            raise TooLarge(f"{self.what} has at most {self.most:,} bytes.")
        return data


class PictureParser(BytesParser):
    media_type, what, most = MEDIA_TYPE, "A photo", LARGEST_BYTES


class BundleParser(BytesParser):
    media_type, what, most = bundle.MEDIA_TYPE, "A bundle", bundle.MOST_BYTES


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
