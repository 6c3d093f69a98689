"""The next is asked for while what came is looked at; what fails then is asked for again."""

import json
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Event, Thread
from urllib.parse import parse_qs, urlsplit

import pytest
from tests.waiting import ENOUGH

from scalewitness_cli.ahead import answers
from scalewitness_cli.remote import Api, Refusal, RetryLimit


class Server(ThreadingHTTPServer):
    """Answers each question with itself. ``failing``: those that it answers 503 the next time, and
    ``refused`` those that it always refuses."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Handler)
        self.asked = {one: Event() for one in "abc"}
        self.times = dict.fromkeys("abc", 0)
        self.failing, self.refused = set[str](), set[str]()


class _Handler(BaseHTTPRequestHandler):
    server: Server

    def do_GET(self) -> None:
        (question,) = parse_qs(urlsplit(self.path).query)["one"]
        self.server.times[question] += 1
        self.server.asked[question].set()
        status, content = 200, json.dumps(question)
        if question in self.server.failing:
            self.server.failing.discard(question)
            status = 503
        elif question in self.server.refused:
            status, content = 404, json.dumps({"code": "not_found", "detail": "nothing"})
        self.send_response(status)
        self.end_headers()
        self.wfile.write(content.encode())

    def log_message(self, *_: object) -> None:
        """Nobody reads it."""


@pytest.fixture
def server() -> Iterator[Server]:
    with Server() as made:
        Thread(target=made.serve_forever, daemon=True).start()
        yield made
        made.shutdown()


def asked(server: Server) -> Iterator[str]:
    port = server.server_address[1]
    with Api(f"http://127.0.0.1:{port}", retrying=RetryLimit(sleep=lambda _: None)) as api:
        yield from answers(api, "things", ({"one": one} for one in "abc"))


def test_the_next_is_on_its_way_while_one_is_looked_at(server: Server) -> None:
    coming = asked(server)
    for looked_at, next_one in (("a", "b"), ("b", "c")):
        assert next(coming) == looked_at
        assert server.asked[next_one].wait(ENOUGH)
    assert list(coming) == ["c"]
    assert server.times == {"a": 1, "b": 1, "c": 1}


def test_what_fails_ahead_is_asked_again_in_its_turn(server: Server) -> None:
    server.failing |= {"a", "b"}
    assert list(asked(server)) == ["a", "b", "c"]
    assert server.times == {"a": 2, "b": 2, "c": 1}


def test_a_refusal_is_raised_where_its_answer_was_due(server: Server) -> None:
    server.refused.add("b")
    coming = asked(server)
    assert next(coming) == "a"
    with pytest.raises(Refusal):
        next(coming)


def test_nothing_asked_is_nothing_answered(server: Server) -> None:
    with Api(f"http://127.0.0.1:{server.server_address[1]}") as api:
        assert list(answers(api, "things", ())) == []
