"""A stand-in for an object store, for wiring and for faults that a real one shows seldom: it speaks
what `object_store.bucket` uses of S3, believes every signature, and fails as it is told to.

What the record promises is shown against a real server by ``./deploy/try_objects``.
"""

import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from hashlib import sha256
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread
from typing import Any
from urllib.parse import parse_qsl, unquote, urlsplit
from uuid import uuid4
from xml.sax.saxutils import escape

PAGE = 7
"""Keys in one answer, so that every listing takes several."""


@dataclass
class Version:
    """``data`` None: the mark of a deletion."""

    id: str
    data: bytes | None
    at: float = field(default_factory=time.time)


Fault = Callable[[str, str], tuple[int, str] | bytes | None]
"""Given method and key: a status with S3's code, other bytes for the answer, or None."""


@dataclass
class StandIn:
    """Its buckets' objects by bucket and key, the newest version last."""

    buckets: dict[str, dict[str, list[Version]]] = field(default_factory=dict)
    versioning: str = ""
    rules: tuple[str, ...] = ()
    public: bool = False
    fault: Fault = lambda method, key: None
    asked: list[tuple[str, str]] = field(default_factory=list)

    def start(self) -> str:
        """Its address."""
        handler = type("Handler", (_Handler,), {"store": self})
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
        Thread(target=self._server.serve_forever, args=(0.02,), daemon=True).start()
        return f"http://127.0.0.1:{self._server.server_port}"

    def stop(self) -> None:
        self._server.shutdown()
        self._server.server_close()


class _Handler(BaseHTTPRequestHandler):
    store: StandIn
    protocol_version = "HTTP/1.1"

    def do_GET(self) -> None:
        self._answer()

    do_PUT = do_DELETE = do_HEAD = do_GET  # noqa: N815

    def log_message(self, *_: Any) -> None:
        pass

    def _answer(self) -> None:
        parts = urlsplit(self.path)
        bucket, _, key = unquote(parts.path).lstrip("/").partition("/")
        asked = dict(parse_qsl(parts.query, keep_blank_values=True))
        body = self.rfile.read(int(self.headers.get("Content-Length") or 0))
        self.store.asked.append((self.command, key))
        wrong = self.store.fault(self.command, key)
        if isinstance(wrong, tuple):
            return self._refuse(*wrong)
        if "Authorization" not in self.headers and not self.store.public:
            return self._refuse(403, "AccessDenied")
        if self.command == "PUT" and not key and not parts.query:
            self.store.buckets[bucket] = {}
            return self._send(200)
        if bucket not in self.store.buckets:
            return self._refuse(404, "NoSuchBucket")
        objects = self.store.buckets[bucket]
        if not key:
            return self._of_bucket(objects, asked, body)
        return self._of_object(objects, key, asked, body, wrong)

    def _of_object(
        self,
        objects: dict[str, list[Version]],
        key: str,
        asked: dict[str, str],
        body: bytes,
        wrong: bytes | None,
    ) -> None:
        if self.command == "PUT":
            if self.headers["x-amz-content-sha256"] != sha256(body).hexdigest():
                return self._refuse(400, "XAmzContentSHA256Mismatch")
            before = objects.get(key, []) if self.store.versioning else []
            objects[key] = [*before, Version(uuid4().hex, body)]
            return self._send(200)
        if self.command == "DELETE":
            self._delete(objects, key, asked.get("versionId"))
            return self._send(204)
        last = objects.get(key, [Version("", None)])[-1]
        if last.data is None:
            return self._refuse(404, "NoSuchKey")
        return self._send(200, last.data if wrong is None else wrong)

    def _delete(self, objects: dict[str, list[Version]], key: str, version: str | None) -> None:
        if version is not None:
            objects[key] = [one for one in objects.get(key, []) if one.id != version]
        elif self.store.versioning:
            objects.setdefault(key, []).append(Version(uuid4().hex, None))
        else:
            objects[key] = []
        if not objects[key]:
            del objects[key]

    def _of_bucket(
        self, objects: dict[str, list[Version]], asked: dict[str, str], body: bytes
    ) -> None:
        if "versioning" in asked and self.command == "PUT":
            self.store.versioning = "Enabled" if b"Enabled" in body else "Suspended"
            return self._send(200)
        if "versioning" in asked:
            status = self.store.versioning
            status = f"<Status>{status}</Status>" if status else ""
            return self._xml(f"<VersioningConfiguration>{status}</VersioningConfiguration>")
        if "lifecycle" in asked:
            if not self.store.rules:
                return self._refuse(404, "NoSuchLifecycleConfiguration")
            rules = "".join(_rule(one) for one in self.store.rules)
            return self._xml(f"<LifecycleConfiguration>{rules}</LifecycleConfiguration>")
        after = asked.get("continuation-token") or asked.get("key-marker") or ""
        keys = sorted(k for k in objects if k.startswith(asked.get("prefix", "")) and k > after)
        page, more = keys[:PAGE], len(keys) > PAGE
        cut = f"<IsTruncated>{str(more).lower()}</IsTruncated>"
        if "versions" in asked:
            rows = "".join(_version(k, one) for k in page for one in objects[k])
            cut += f"<NextKeyMarker>{escape(page[-1])}</NextKeyMarker>" if more else ""
            return self._xml(f"<ListVersionsResult>{cut}{rows}</ListVersionsResult>")
        here = [(k, objects[k][-1]) for k in page if objects[k][-1].data is not None]
        cut += f"<NextContinuationToken>{escape(page[-1])}</NextContinuationToken>" if more else ""
        rows = "".join(_listed("Contents", k, one) for k, one in here)
        return self._xml(f"<ListBucketResult>{cut}{rows}</ListBucketResult>")

    def _refuse(self, status: int, code: str) -> None:
        self._send(status, f"<Error><Code>{code}</Code></Error>".encode() if code else b"")

    def _xml(self, text: str) -> None:
        self._send(200, text.encode())

    def _send(self, status: int, body: bytes = b"") -> None:
        with suppress(BrokenPipeError, ConnectionResetError):  # whoever asked may be gone
            self.send_response(status)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)


def _listed(name: str, key: str, one: Version, more: str = "") -> str:
    at = datetime.fromtimestamp(one.at, UTC).strftime("%Y-%m-%dT%H:%M:%S.000Z")
    size = len(one.data or b"")
    return (
        f"<{name}><Key>{escape(key)}</Key><LastModified>{at}</LastModified>"
        f"<Size>{size}</Size>{more}</{name}>"
    )


def _version(key: str, one: Version) -> str:
    name = "Version" if one.data is not None else "DeleteMarker"
    return _listed(name, key, one, f"<VersionId>{one.id}</VersionId>")


def _rule(name: str) -> str:
    return f"<Rule><ID>{name}</ID><Status>Enabled</Status></Rule>"
