"""What OpenTelemetry's own packages trace, without what it would tell of anyone.

They note what they see fit: whole addresses, where somebody came from, what an exception says. So
only what is on a list leaves, masked like the log.
"""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from opentelemetry import trace
from opentelemetry.exporter.otlp.proto.http.trace_exporter import OTLPSpanExporter
from opentelemetry.instrumentation.celery import CeleryInstrumentor
from opentelemetry.instrumentation.django import DjangoInstrumentor
from opentelemetry.instrumentation.psycopg import PsycopgInstrumentor
from opentelemetry.sdk.resources import Resource
from opentelemetry.sdk.trace import Event, ReadableSpan, TracerProvider
from opentelemetry.sdk.trace.export import BatchSpanProcessor, SpanExporter, SpanExportResult
from opentelemetry.trace import Span, Status

from scalewitness.domain.masking import masked
from scalewitness.serving.noted import NOTED

KEPT: Final = frozenset(
    {
        "celery.action",
        "celery.state",
        "celery.task_name",
        "db.query.text",  # without its values
        "db.statement",
        "db.system",
        "db.system.name",
        "error.type",
        "exception.type",
        "http.method",
        "http.request.method",
        "http.response.status_code",
        "http.route",
        "http.status_code",
        "messaging.destination",
        "messaging.destination.name",
        "request_id",
    }
)
"""Attributes, by OpenTelemetry's semantic conventions, that tell nothing of anyone."""


def start(process: str) -> None:
    provider = TracerProvider(resource=Resource.create({"service.name": f"scalewitness-{process}"}))
    provider.add_span_processor(BatchSpanProcessor(Masked(OTLPSpanExporter())))
    trace.set_tracer_provider(provider)
    DjangoInstrumentor().instrument(request_hook=_note_request)
    PsycopgInstrumentor().instrument()
    CeleryInstrumentor().instrument()  # type: ignore[no-untyped-call]


class Masked(SpanExporter):
    """Hands on to another exporter what may leave."""

    def __init__(self, exporter: SpanExporter) -> None:
        self._exporter = exporter

    def export(self, spans: Sequence[ReadableSpan]) -> SpanExportResult:
        return self._exporter.export([_without_anyone(span) for span in spans])

    def shutdown(self) -> None:
        self._exporter.shutdown()

    def force_flush(self, timeout_millis: int = 30_000) -> bool:
        return self._exporter.force_flush(timeout_millis)


def _without_anyone(span: ReadableSpan) -> ReadableSpan:
    return ReadableSpan(
        name=masked(span.name),
        context=span.context,
        parent=span.parent,
        resource=span.resource,
        attributes=_kept(span.attributes),
        events=[Event(one.name, _kept(one.attributes), one.timestamp) for one in span.events],
        links=span.links,
        kind=span.kind,
        status=Status(span.status.status_code),
        start_time=span.start_time,
        end_time=span.end_time,
        instrumentation_scope=span.instrumentation_scope,
    )


def _kept(attributes: Mapping[str, Any] | None) -> dict[str, Any]:
    return {
        name: masked(value) if isinstance(value, str) else value
        for name, value in (attributes or {}).items()
        if name in KEPT
    }


def _note_request(span: Span, request: Any) -> None:
    """By its id a trace is found in the log."""
    if (noted := request.META.get(NOTED)) is not None:
        span.set_attribute("request_id", noted.id)
