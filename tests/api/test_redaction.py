"""Whoever holds a link's token is the buyer: no log may."""

import logging
from typing import Any

import pytest
from django.conf import settings as configured
from tests.api.client import Api

from scalewitness.api.redaction import HideTokens

TOKEN = "017f22e279b07cc398c4dc0c0c07398f:c2lnbmF0dXJl"


def line(message: str, *args: object) -> str:
    record = logging.LogRecord("django.request", logging.WARNING, "", 0, message, args, None)
    assert HideTokens().filter(record) is True
    return record.getMessage()


@pytest.mark.parametrize("prefix", ["", "/api/v1", "https://record.example"])
@pytest.mark.parametrize("rest", ["", "/confirmation", "?page=2"])
def test_a_token_is_left_out_and_the_rest_stays(prefix: str, rest: str) -> None:
    said = line("%s: %s", "Not Found", f"{prefix}/offers/{TOKEN}{rest}")
    assert said == f"Not Found: {prefix}/offers/…{rest}"


def test_other_lines_stay_as_they_are() -> None:
    assert line("%s: %s", "Not Found", "/api/v1/animals/1") == "Not Found: /api/v1/animals/1"
    assert line("100% sure") == "100% sure"


def test_the_handler_that_writes_the_log_uses_it(
    nobody: Api, capsys: pytest.CaptureFixture[str]
) -> None:
    """Through the configured handler, with what Django itself writes of a refusal."""
    filters: Any = configured.LOGGING["filters"]
    assert configured.LOGGING["handlers"]["console"]["filters"] == list(filters)
    (handler,) = [one for one in logging.getLogger().handlers if one.filters]
    stream = handler.stream if isinstance(handler, logging.StreamHandler) else None
    assert stream is not None
    written: list[str] = []
    emit, handler.emit = handler.emit, lambda record: written.append(record.getMessage())
    try:
        nobody.get(f"/offers/{TOKEN}")
        nobody.post(f"/offers/{TOKEN}/confirmation", {})
    finally:
        handler.emit = emit
    assert any("/offers/…" in said for said in written)
    assert not any(TOKEN in said for said in written)
