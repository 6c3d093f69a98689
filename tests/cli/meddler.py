"""Something in the way between a machine and the server: it cuts lines and answers for it."""

import http.client
import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread
from typing import Any
from urllib.parse import urlsplit

Answer = tuple[int, dict[str, str], bytes]
Trick = Callable[["Meddler", Callable[[], Answer]], Answer | None]
"""Given a way to ask the server, what to answer; None cuts the line."""

PASSED_ON = ("Authorization", "Content-Type", "If-Match")
HIDDEN = {"transfer-encoding", "connection", "content-encoding", "content-length"}


class Meddler:
    """At ``url``, before ``server``. ``tricks`` are played on the next requests whose path
    ends so, one each. A push that holds the bytes ``fail_at`` is answered 500, as often as it
    comes; ``failed`` counts them. ``asked``: the paths of all requests."""

    def __init__(self, server: str) -> None:
        self.server, self.url = server, ""
        self.tricks: list[tuple[str, Trick]] = []
        self.fail_at: bytes | None = None
        self.failed = 0
        self.asked: list[str] = []

    def fails(self, path: str, body: bytes) -> bool:
        bad = self.fail_at is not None and path.endswith("/push") and self.fail_at in body
        self.failed += bad
        return bad

    def play(self, path: str, *tricks: Trick) -> None:
        self.tricks += [(path, one) for one in tricks]

    def trick_for(self, path: str) -> Trick | None:
        for place, (wanted, trick) in enumerate(self.tricks):
            if urlsplit(path).path.endswith(wanted):
                del self.tricks[place]
                return trick
        return None


def cut_the_answer(_: Meddler, ask: Callable[[], Answer]) -> Answer | None:
    """The server takes it; nobody hears of it."""
    ask()
    return None


def cut_the_request(_: Meddler, ask: Callable[[], Answer]) -> Answer | None:
    return None


def saying(status: int, code: str, **headers: str) -> Trick:
    """The server's word in its place."""
    told = {name.replace("_", "-"): value for name, value in headers.items()}
    body = json.dumps({"status": status, "code": code, "detail": f"It is {code}."}).encode()
    return lambda _, ask: (status, told | {"Content-Type": "application/problem+json"}, body)


def said_after_it_was_done(status: int, code: str) -> Trick:
    """The server takes it, and cannot tell whether it did."""

    def trick(meddler: Meddler, ask: Callable[[], Answer]) -> Answer | None:
        ask()
        return saying(status, code, Retry_After="1")(meddler, ask)

    return trick


def a_sign_in_page(_: Meddler, ask: Callable[[], Answer]) -> Answer | None:
    """As the network of a hotel does."""
    return 200, {"Content-Type": "text/html"}, b"<p>Welcome! Accept our terms.</p>"


class Handler(BaseHTTPRequestHandler):
    meddler: Meddler

    def answer(self) -> None:
        body = self.rfile.read(int(self.headers.get("Content-Length") or 0))
        self.meddler.asked.append(urlsplit(self.path).path)
        trick = self.meddler.trick_for(self.path)
        if self.meddler.fails(self.path, body):
            trick = saying(500, "server_error")
        given = trick(self.meddler, lambda: self.ask(body)) if trick else self.ask(body)
        if given is None:
            self.close_connection = True
            self.connection.close()
            return
        status, headers, content = given
        self.send_response(status)
        for name, value in (headers | {"Content-Length": str(len(content))}).items():
            self.send_header(name, value)
        self.end_headers()
        with suppress(ConnectionError):  # a client that was killed
            self.wfile.write(content)

    do_GET = do_POST = do_DELETE = answer  # noqa: N815

    def ask(self, body: bytes) -> Answer:
        sent = {name: self.headers[name] for name in PASSED_ON if name in self.headers}
        line = http.client.HTTPConnection(urlsplit(self.meddler.server).netloc, timeout=30)
        try:
            line.request(self.command, self.path, body or None, sent)
            found = line.getresponse()
            told = {name: text for name, text in found.getheaders() if name.lower() not in HIDDEN}
            return found.status, told, found.read()
        finally:
            line.close()

    def log_message(self, *_: Any) -> None:
        pass


@contextmanager
def meddling(server: str) -> Iterator[Meddler]:
    made = Meddler(server)
    listener = ThreadingHTTPServer(("127.0.0.1", 0), type("Ours", (Handler,), {"meddler": made}))
    thread = Thread(target=listener.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    made.url = f"http://127.0.0.1:{listener.server_port}"
    try:
        yield made
    finally:
        listener.shutdown()
        thread.join()
        listener.server_close()
