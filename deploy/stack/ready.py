"""Is it up yet? The checks a supervisor waits for, and free ports on the loopback."""

import http.client
import socket
from collections.abc import Callable
from pathlib import Path
from urllib.parse import urlsplit

LOOPBACK = "127.0.0.1"

Check = Callable[[], bool]
"""Asked again and again until true; answers at once and never raises for "not yet"."""


def free_port() -> int:
    """A TCP port on 127.0.0.1 that nobody held a moment ago."""
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        return int(probe.getsockname()[1])


def port_is_free(port: int) -> bool:
    """Whether a server could listen on 127.0.0.1 at this port now."""
    with socket.socket() as probe:
        # As servers do: a connection of the last run in TIME_WAIT does not take the port.
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((LOOPBACK, port))
        except OSError:
            return False
    return True


def tcp(port: int) -> Check:
    """True once something accepts connections on 127.0.0.1 at `port`."""

    def check() -> bool:
        try:
            socket.create_connection((LOOPBACK, port), timeout=1).close()
        except OSError:
            return False
        return True

    return check


def http_ok(url: str) -> Check:
    """True once a GET of an http:// address answers 2xx."""
    parts = urlsplit(url)

    def check() -> bool:
        connection = http.client.HTTPConnection(parts.hostname or LOOPBACK, parts.port, timeout=5)
        try:
            connection.request("GET", parts.path or "/")
            return 200 <= connection.getresponse().status < 300
        except (OSError, http.client.HTTPException):
            return False
        finally:
            connection.close()

    return check


def file_contains(path: Path, words: bytes) -> Check:
    """True once a file exists and holds `words`: for processes that only log that they are up."""

    def check() -> bool:
        return path.exists() and words in path.read_bytes()

    return check
