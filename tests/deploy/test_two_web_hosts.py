"""The samples for proxies before two web hosts, one of which is away or ends in the middle."""

import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Thread

import pytest
from tests.proxies import Proxy, caddy, nginx

from stack.ready import LOOPBACK, free_port
from stack.supervisor import Supervisor

ROUNDS = 6
"""Enough that both hosts would have had their turn."""
ANSWER = b"HTTP/1.1 200 OK\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"


@contextmanager
def host(answer: bytes) -> Iterator[tuple[int, list[str]]]:
    """A web host that answers each request so, or with nothing: its port, and the methods it was
    asked with."""
    asked: list[str] = []

    def serve() -> None:
        while True:
            try:
                line, _ = listening.accept()
            except OSError:
                return
            with line, line.makefile("rb") as request:
                asked.append(request.readline().partition(b" ")[0].decode())
                while request.readline().strip():
                    pass
                line.sendall(answer)

    with socket.create_server((LOOPBACK, 0)) as listening:
        thread = Thread(target=serve)
        thread.start()
        try:
            yield listening.getsockname()[1], asked
        finally:
            listening.shutdown(socket.SHUT_RDWR)
            thread.join()


@contextmanager
def running(proxy: Proxy) -> Iterator[Proxy]:
    with Supervisor(proxy.folder / "run", lambda name, text: None) as supervisor:
        supervisor.start(proxy.service)
        yield proxy


Sample = Callable[..., Proxy]


@pytest.mark.parametrize("sample", [nginx, caddy])
def test_what_one_host_refuses_the_other_is_asked(sample: Sample, tmp_path: Path) -> None:
    """As while it is restarted: nothing was sent to it yet."""
    with host(ANSWER) as (port, asked), running(sample(tmp_path, free_port(), port)) as proxy:
        assert [proxy.ask("/", {}, "POST") for _ in range(ROUNDS)] == [(200, "")] * ROUNDS
    assert asked == ["POST"] * ROUNDS


@pytest.mark.parametrize("sample", [nginx, caddy])
def test_a_push_that_one_host_got_is_never_sent_to_the_other(
    sample: Sample, tmp_path: Path
) -> None:
    """A host that ends in the middle may have stored it: whether to send again, the client says,
    who has its id."""
    with (
        host(b"") as (one, first),
        host(b"") as (two, second),
        running(sample(tmp_path, one, two)) as proxy,
    ):
        assert proxy.ask("/", {}, "POST") == (503, "5")
    assert first + second == ["POST"]
