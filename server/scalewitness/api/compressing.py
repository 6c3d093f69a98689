"""Answers of the API compressed, but for those whose ETag an edit will have to name."""

from typing import Final

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.middleware.gzip import GZipMiddleware

API: Final = "/api/v1/"


class CompressUntagged(GZipMiddleware):
    """Django weakens the ETag of what it compresses, and If-Match compares strongly (RFC 9110,
    13.1.1): an edit that names such a tag would be refused. So what has one stays as it is.
    Pages are left alone too: they hold tokens beside what others may have put there."""

    def process_response(
        self, request: HttpRequest, response: HttpResponseBase
    ) -> HttpResponseBase:
        if response.has_header("ETag") or not request.path_info.startswith(API):
            return response
        found: HttpResponseBase = super().process_response(request, response)
        return found
