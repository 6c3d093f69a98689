"""When there is nothing to show, or we failed."""

from django.test import RequestFactory
from tests.pages.browser import Browser, Page, check_markup

from scalewitness.pages.errors import server_error


def test_an_address_that_leads_nowhere_says_so_without_saying_which(anyone: Browser) -> None:
    page = anyone.open("/no/such/place")
    assert page.status == 404
    assert "Either it does not exist, or you do not have access to it" in page.text


def test_our_own_failure_says_that_sending_again_is_safe() -> None:
    page = Page(server_error(RequestFactory().get("/")), "/")
    check_markup(page)
    assert page.status == 500
    assert "sending the same twice counts once" in page.text
