"""What is held up is answered with 503 and when to come again, wherever it happens."""

import pytest
from django.db import OperationalError
from django.test import Client, RequestFactory
from tests.api.client import Api
from tests.breaking import lost_after
from tests.pages.browser import Page, check_markup
from tests.world import World

from scalewitness import settings
from scalewitness.api.problems import passing
from scalewitness.domain.errors import Busy, OutcomeUnknown
from scalewitness.pages.errors import busy
from scalewitness.postgresql import CommitUnknown
from scalewitness.serving import web_server
from scalewitness.serving.busy import come_again
from scalewitness.urls import server_error


@pytest.mark.parametrize("path", ["/", "/animals", "/api/v1/animals", "/log/checkpoint"])
@pytest.mark.some(1)
def test_whichever_statement_is_lost_the_caller_is_told_to_come_again(
    lasting_world: World, path: str
) -> None:
    world = lasting_world
    world.animal("A1")
    browser = Client(raise_request_exception=False)
    browser.force_login(world.odile)
    headers = Api(world.odile).headers
    lost = 0
    while True:
        with lost_after(lost):
            answer = browser.get(path, headers=headers)
        if answer.status_code == 200:
            break
        assert (answer.status_code, int(answer.headers["Retry-After"]) > 0) == (503, True)
        assert "no-store" in answer.headers["Cache-Control"]
        if path.startswith("/api/"):
            assert answer.json()["code"] == "busy"
        lost += 1
    assert lost > 0


def test_what_is_held_up_outside_of_a_view_is_told_so_too() -> None:
    """As a session that is saved once the view is done."""
    request = RequestFactory().get("/")
    try:
        raise OperationalError("held up")
    except OperationalError:
        assert server_error(request).status_code == 503
    try:
        raise ZeroDivisionError
    except ZeroDivisionError:
        assert server_error(request).status_code == 500


def test_the_web_server_has_the_threads_that_admission_counts_on() -> None:
    assert web_server.threads == settings.WEB_THREADS


def test_a_page_does_not_say_that_nothing_was_recorded_where_nobody_knows() -> None:
    """What a reader asked for is not recorded anyway."""
    told = {method: passing(CommitUnknown(), method) for method in ("POST", "GET")}
    assert {method: type(one) for method, one in told.items()} == {
        "POST": OutcomeUnknown,
        "GET": Busy,
    }
    page = Page(come_again("/animals", told["POST"]), "/")
    check_markup(page)
    assert page.status == 503
    assert "Nothing was recorded" not in page.text
    assert "sending the same twice counts once" in page.text


def test_the_page_says_that_nothing_was_recorded() -> None:
    page = Page(busy(2), "/")
    check_markup(page)
    assert page.status == 503
    assert "Nothing was recorded" in page.text
    assert "sending the same twice counts once" in page.text
