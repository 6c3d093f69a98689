"""Answers of the API compressed, but for those whose ETag an edit will have to name; and what
pages are made with."""

from typing import Final

from django.conf import settings
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.middleware.gzip import GZipMiddleware

API: Final = "/api/v1/"
PLAIN: Final = (".js", ".css", ".svg", ".json")
"""How files end that grow smaller."""


class Compress(GZipMiddleware):
    """Django weakens the ETag of what it compresses, and If-Match compares strongly (RFC 9110,
    13.1.1): an edit that names such a tag would be refused. So what has one stays as it is; files
    are only read, and for that the tag may be weak. Pages are left alone too: they hold tokens
    beside what others may have put there."""

    def process_response(
        self, request: HttpRequest, response: HttpResponseBase
    ) -> HttpResponseBase:
        if not _is_compressed(request.path_info, tagged=response.has_header("ETag")):
            return response
        found: HttpResponseBase = super().process_response(request, response)
        return found


def _is_compressed(path: str, *, tagged: bool) -> bool:
    if path.startswith(settings.STATIC_URL):
        return path.endswith(PLAIN)
    return path.startswith(API) and not tagged
