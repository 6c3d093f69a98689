"""A log for clients: its leaves in memory, its tiles by RFC 9162's own recursion."""

import json
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from hashlib import sha256
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread
from typing import Any

from tests.domain.translog.reference import root_of

from scalewitness.domain.translog.checkpoints import Checkpoint
from scalewitness.domain.translog.keys import KeyType, Signer
from scalewitness.domain.translog.notes import Note, signed
from scalewitness.domain.translog.tiles import NotATile, Tile, read_path
from scalewitness_cli.public_log import NoSuchTile

SIGNER = Signer("record.example/log", KeyType.ED25519, bytes(range(32)))


class FakeLog:
    """``story`` names its entries; two of the same story share them."""

    def __init__(self, size: int, story: str = "true", since: int = 0) -> None:
        names = [f"{story if n >= since else 'true'} {n}" for n in range(size)]
        self.leaves = [sha256(b"\0" + name.encode()).digest() for name in names]
        self.url = "https://record.example"
        self.shown: Note | None = None
        """Instead of its own checkpoint."""
        self.said: bytes | None = None
        """Of the logs before it."""
        self.revoked: bytes | None = None
        """What it says of witnesses."""
        self.changes: list[Note] = []
        """Of its key."""
        self.fresh: bytes | None = None
        """Of when it signed."""
        self.seen_by: list[Note] = []
        """Notes with witnesses' lines."""

    def note(self, signer: Signer = SIGNER, origin: str = SIGNER.name) -> Note:
        head = Checkpoint(origin, len(self.leaves), root_of(self.leaves))
        return signed(head.body(), signer)

    def checkpoint(self) -> bytes:
        return str(self.shown or self.note()).encode()

    def origins(self) -> bytes | None:
        return self.said

    def revoked_witnesses(self) -> bytes | None:
        return self.revoked

    def key_changes(self) -> bytes | None:
        return json.dumps({"changes": list(map(str, self.changes))}).encode()

    def freshness(self) -> bytes | None:
        return self.fresh

    def cosigned(self, names: Sequence[str]) -> bytes | None:
        return json.dumps({"notes": list(map(str, self.seen_by))}).encode()

    def tile(self, place: Tile) -> bytes:
        """Only to level 1: as far as 65,536 leaves go."""
        rows = self.leaves
        for _ in range(place.level):
            full = range(0, len(rows) - len(rows) % 256, 256)
            rows = [root_of(rows[i : i + 256]) for i in full]
        found = rows[place.index * 256 :][: place.width]
        if len(found) < place.width:
            raise NoSuchTile(f"it does not give out the tile {place.path()}")
        return b"".join(found)


class Handler(BaseHTTPRequestHandler):
    """``log`` is what is shown, ``take`` answers what is sent to `log/cosignatures`."""

    log: FakeLog
    take: Callable[[dict[str, Any]], int]

    def do_GET(self) -> None:
        if self.path == "/log/checkpoint":
            self._send(200, self.log.checkpoint())
            return
        if self.path == "/api/v1/log/origins":
            self._send(200 if self.log.said else 404, self.log.said or b"{}")
            return
        if self.path == "/api/v1/log/key-changes":
            self._send(200, self.log.key_changes() or b"{}")
            return
        if self.path == "/api/v1/log/freshness":
            self._send(200 if self.log.fresh else 404, self.log.fresh or b"{}")
            return
        if self.path.startswith("/api/v1/log/cosigned?"):
            self._send(200, self.log.cosigned([]) or b"{}")
            return
        try:
            place = read_path(self.path.removeprefix("/log/tile/"))
            self._send(200, self.log.tile(place))
        except (NotATile, NoSuchTile):
            self._send(404, b"{}")

    def do_POST(self) -> None:
        assert self.path == "/api/v1/log/cosignatures"
        assert self.headers["Authorization"] == "Bearer token"
        body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
        self._send(self.take(body), b'{"code": "said", "detail": "by the server"}')

    def _send(self, status: int, data: bytes) -> None:
        self.send_response(status)
        self.send_header("Content-Length", str(len(data)))
        self.end_headers()
        with suppress(ConnectionError):  # a client that was killed
            self.wfile.write(data)

    def log_message(self, *_: object) -> None:
        pass


class Served:
    """A log behind a real socket. ``taken`` is what was sent to it to be kept; ``status``
    answers that; ``wait`` is called before."""

    def __init__(self, log: FakeLog) -> None:
        self.log, self.status, self.url = log, 201, ""
        self.taken: list[dict[str, Any]] = []
        self.wait: Callable[[], object] = lambda: None

    def take(self, body: dict[str, Any]) -> int:
        self.wait()
        self.taken.append(body)
        return self.status


@contextmanager
def over_http(served: Served) -> Iterator[Served]:
    members = {"log": property(lambda _: served.log), "take": staticmethod(served.take)}
    server = ThreadingHTTPServer(("127.0.0.1", 0), type("Ours", (Handler,), members))
    thread = Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    served.url = f"http://127.0.0.1:{server.server_port}"
    try:
        yield served
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
