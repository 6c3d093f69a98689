"""Long lists a page at a time."""

from collections.abc import Sequence
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import QuerySet
from django.http import HttpRequest

PAGE = 25
"""Rows on a page (our judgement: what one looks through before one searches)."""


def listed(
    request: HttpRequest, rows: "QuerySet[Any] | Sequence[Any]", size: int = PAGE
) -> "Page[Any]":
    """The page asked for; the first or the last where there is no such page."""
    return Paginator(rows, size).get_page(request.GET.get("page"))
