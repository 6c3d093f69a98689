"""What only the operator may ask."""

from typing import Any

from django.conf import settings
from django.test import Client


def metrics() -> Any:
    """The answer to `GET /metrics` with the operator's token."""
    return Client().get("/metrics", headers={"Authorization": f"Bearer {settings.METRICS_TOKEN}"})
