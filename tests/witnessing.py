"""Witnesses for tests: a keeper's, and a small one that answers as C2SP tlog-witness asks."""

import time
from base64 import b64decode, b64encode
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Lock, Thread
from typing import Any

from django.conf import settings

from scalewitness.domain.translog.checkpoints import NotACheckpoint, read_size
from scalewitness.domain.translog.keys import KeyType, Signer, VerifierKey, read_signer
from scalewitness.domain.translog.notes import BadNote, open_note, read_note, signature_line
from scalewitness.domain.translog.proofs import verify_consistency
from scalewitness.domain.translog.tree import EMPTY_ROOT
from scalewitness.domain.translog.witnessing import CONFLICT_TYPE
from scalewitness.ledger.models import Checkpoint


def keepers_witness(number: int = 1) -> Signer:
    """A key as the client makes them."""
    origin = read_signer(settings.LOG_SIGNING_KEY).name
    return Signer(f"{origin}/witness/{number:016x}", KeyType.COSIGNATURE, number.to_bytes(32))


def cosigned(
    checkpoint: Checkpoint, signer: Signer | None = None, at: int | None = None
) -> dict[str, Any]:
    """What a client sends to `log/cosignatures`."""
    signer = signer or keepers_witness()
    text = read_note(checkpoint.note).text
    line = signature_line(text, signer, int(time.time()) if at is None else at)
    return {
        "key": str(signer.verifier),
        "size": checkpoint.size,
        "root": b64encode(bytes(checkpoint.root)).decode(),
        "cosignature": str(line).rstrip("\n"),
    }


@dataclass(frozen=True)
class Answer:
    status: int
    body: str
    content_type: str = "text/plain; charset=utf-8"


class Refused(Exception):
    def __init__(self, status: int, body: str, content_type: str = "text/plain") -> None:
        self.answer = Answer(status, body, content_type)


@dataclass
class SmallWitness:
    """One size and root a log. What it has is compared and put down under a lock, before
    it answers. ``stall`` is called between the checks and that, for races.

    Written from the specification's text, with its statuses; requests are read by hand
    rather than with what the server writes them by.
    """

    signer: Signer
    logs: dict[str, VerifierKey]
    seen: dict[str, tuple[int, bytes]] = field(default_factory=dict)
    stall: Callable[[int], None] = lambda size: None
    clock: Callable[[], float] = time.time
    _lock: Lock = field(default_factory=Lock)

    def add_checkpoint(self, body: bytes) -> Answer:
        try:
            return self._added(body)
        except Refused as refused:
            return refused.answer

    def _added(self, body: bytes) -> Answer:
        old, proof, note = _request(body)
        text = note.partition("\n\n")[0] + "\n"
        origin = text.split("\n")[0]
        key = self.logs.get(origin)
        if key is None:
            raise Refused(404, "unknown log")
        try:
            open_note(note, [key])
        except BadNote:
            raise Refused(403, "invalid signature") from None
        size, root = _body(text)
        if old > size:
            raise Refused(400, "invalid input: old size beyond the checkpoint's")
        self.stall(size)
        with self._lock:
            self._compare(origin, old, size, root, proof)
            self.seen[origin] = (size, root)
        return Answer(200, str(signature_line(text, self.signer, int(self.clock()))))

    def _compare(self, origin: str, old: int, size: int, root: bytes, proof: list[bytes]) -> None:
        has, had_root = self.seen.get(origin, (0, EMPTY_ROOT))
        if old != has:
            raise Refused(409, f"{has}\n", CONFLICT_TYPE)
        if old == size and root != had_root:
            raise Refused(422, "another root of the same size")
        if not verify_consistency(size1=old, root1=had_root, size2=size, root2=root, proof=proof):
            raise Refused(422, "the consistency proof does not hold")


def _request(body: bytes) -> tuple[int, list[bytes], str]:
    try:
        head, blank, note = body.decode().partition("\n\n")
        first, *lines = head.split("\n")
        if not blank or not first.startswith("old ") or len(lines) > 63:
            raise ValueError(first)
        old, proof = read_size(first[4:]), [b64decode(line, validate=True) for line in lines]
        if "\n\n" not in note or not note.partition("\n\n")[2].startswith("— "):
            raise ValueError(note)
    except (ValueError, NotACheckpoint):
        raise Refused(400, "invalid input") from None
    return old, proof, note


def _body(text: str) -> tuple[int, bytes]:
    try:
        _, size, root = text.split("\n")[:3]
        data = b64decode(root, validate=True)
        if len(data) != 32:
            raise ValueError(root)
        return read_size(size), data
    except (ValueError, NotACheckpoint):
        raise Refused(400, "invalid checkpoint") from None


@contextmanager
def served(add_checkpoint: Callable[[bytes], Answer]) -> Iterator[str]:
    """A witness behind a real socket; gives its address."""

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            answer = add_checkpoint(body) if self.path == "/add-checkpoint" else Answer(404, "")
            data = answer.body.encode()
            self.send_response(answer.status)
            self.send_header("Content-Type", answer.content_type)
            self.send_header("Content-Length", str(len(data)))
            self.end_headers()
            self.wfile.write(data)

        def log_message(self, *_: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
