"""The page about the log, as served; what it does in a browser is tested in `tests/browser`."""

from typing import Any

import pytest
from django.conf import settings
from tests.domain.translog.test_receipts import OTHER
from tests.pages.browser import Browser

from scalewitness.domain.translog.keys import read_signer


def test_it_is_for_everyone_and_says_what_the_log_does_not_do(anyone: Browser) -> None:
    page = anyone.open("/log")
    assert page.status == 200
    for said in (
        "That an entry is true.",
        "That everyone is shown the same log.",
        "Checking here needs JavaScript",
        "scalewitness verify",
        "a key taken from here proves less",
        str(read_signer(settings.LOG_SIGNING_KEY).verifier),
    ):
        assert said in page.text, said
    assert "/log/checkpoint" in page.links
    assert "/log" in anyone.open("/about").links


def test_keys_of_before_are_shown_so_that_old_receipts_can_be_checked(
    anyone: Browser, settings: Any
) -> None:
    settings.LOG_RETIRED_KEYS = [str(OTHER.verifier)]
    page = anyone.open("/log")
    assert str(OTHER.verifier) in page.text
    assert "those it signed with before" in page.text


@pytest.mark.parametrize("path", ["/", "/about", "/offers/none"])
def test_other_pages_run_no_script(anyone: Browser, path: str) -> None:
    assert "script" not in [tag for tag, _ in anyone.open(path).tags]
