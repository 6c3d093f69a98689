"""Where traces are sent in tests: what speaks OTLP over HTTP, and keeps all it is sent."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread
from typing import Any, Self

from opentelemetry.proto.collector.trace.v1.trace_service_pb2 import ExportTraceServiceRequest


@dataclass(frozen=True)
class Sent:
    """One span, and its events' attributes with its own."""

    trace: str
    name: str
    attributes: dict[str, Any]


class Collector:
    def __init__(self, port: int) -> None:
        self._bodies: list[bytes] = []
        self.environment = {
            "OTEL_EXPORTER_OTLP_ENDPOINT": f"http://127.0.0.1:{port}",
            "OTEL_BSP_SCHEDULE_DELAY": "200",
        }

    @classmethod
    @contextmanager
    def listening(cls) -> Iterator[Self]:
        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                found._bodies.append(self.rfile.read(int(self.headers["Content-Length"])))
                self.send_response(200)
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
            found = cls(server.server_port)
            Thread(target=server.serve_forever, daemon=True).start()
            try:
                yield found
            finally:
                server.shutdown()

    def received(self) -> bytes:
        return b"".join(self._bodies)

    def spans(self) -> list[Sent]:
        requests = map(ExportTraceServiceRequest.FromString, self._bodies)
        return [
            Sent(
                span.trace_id.hex(),
                span.name,
                {
                    one.key: one.value.string_value or one.value.int_value
                    for part in (span, *span.events)
                    for one in part.attributes
                },
            )
            for request in requests
            for resource in request.resource_spans
            for scope in resource.scope_spans
            for span in scope.spans
        ]
