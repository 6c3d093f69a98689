"""Traces, where the environment says to whom they are sent."""

import os
from typing import Final

ENDPOINT: Final = "OTEL_EXPORTER_OTLP_ENDPOINT"
"""The address of an OpenTelemetry collector. OpenTelemetry's own variables say the rest, such as
how many requests are traced (``OTEL_TRACES_SAMPLER``)."""


def start_tracing(process: str) -> None:
    """In a process that serves, after it was forked, as its sender is a thread. Without a collector
    nothing of OpenTelemetry is imported; with one the extra `traces` must be installed."""
    if os.environ.get(ENDPOINT):
        from scalewitness.serving import tracing  # noqa: PLC0415

        tracing.start(process)
