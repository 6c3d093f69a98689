"""What the kernel knows of the line a request came by: how long ago, and is anyone still there."""

import socket
import struct
from collections.abc import Mapping
from time import monotonic
from typing import Any, Final

OPEN: Final = 1
"""``TCP_ESTABLISHED``. In any other state the client has hung up."""
_STATE, _LAST_RECEIVED = struct.Struct("=B"), struct.Struct("=I")
_LAST_RECEIVED_AT: Final = 52
"""Of ``tcpi_last_data_recv``, milliseconds, in ``struct tcp_info`` (Linux's ``linux/tcp.h``)."""
_ENOUGH: Final = _LAST_RECEIVED_AT + _LAST_RECEIVED.size


class ClientLine:
    """Between a client, or the proxy that speaks for it, and this process. Where the system
    does not tell, as with a Unix socket, a request is as old as the look at it and its client
    is there."""

    def __init__(self, environ: Mapping[str, Any]) -> None:
        self._socket: socket.socket | None = environ.get("gunicorn.socket")
        self.seen_at = monotonic()
        """Not as early as the kernel says, whose milliseconds may be some too many."""

    def waited(self) -> float:
        """Seconds since the last of the request came in, also while nobody had looked at it
        yet: a slow line is no waiting."""
        info = self._tcp_info()
        if not info:
            return monotonic() - self.seen_at
        return float(_LAST_RECEIVED.unpack_from(info, _LAST_RECEIVED_AT)[0] / 1000)

    def is_gone(self) -> bool:
        """Whether the client has hung up."""
        info = self._tcp_info()
        return bool(info) and _STATE.unpack_from(info)[0] != OPEN

    def _tcp_info(self) -> bytes:
        if self._socket is None or not hasattr(socket, "TCP_INFO"):
            return b""
        try:
            info = self._socket.getsockopt(socket.IPPROTO_TCP, socket.TCP_INFO, _ENOUGH)
        except OSError:
            return b""
        return info if len(info) == _ENOUGH else b""
