"""What gunicorn is not started with."""

from types import SimpleNamespace
from typing import Any

import pytest

from scalewitness.serving.rooms import LEAST_CONNECTIONS, least_threads
from scalewitness.serving.web_server import require_enough


@pytest.fixture
def as_it_is(settings: Any) -> dict[str, Any]:
    settings.WEB_THREADS = least_threads(settings.FEED_WAITERS)
    settings.WEB_CONNECTIONS = LEAST_CONNECTIONS
    return {"threads": settings.WEB_THREADS, "worker_class_str": "gthread"}


def test_what_suffices_starts(as_it_is: dict[str, Any]) -> None:
    require_enough(SimpleNamespace(**as_it_is))


@pytest.mark.parametrize(
    ("cfg", "changed", "words"),
    [
        ({"worker_class_str": "sync"}, {}, "Leave --worker-class out"),
        ({"threads": 200}, {}, "Leave --threads out"),
        ({}, {"FEED_WAITERS": 49}, "WEB_THREADS=79, and beside FEED_WAITERS=49 at least 80"),
        ({}, {"WEB_CONNECTIONS": 10}, "DATABASE_POOL_MAX=10, and at least 11 are needed"),
    ],
)
def test_what_does_not_is_refused_in_words(
    cfg: dict[str, Any],
    changed: dict[str, int],
    words: str,
    as_it_is: dict[str, Any],
    settings: Any,
) -> None:
    for name, value in changed.items():
        setattr(settings, name, value)
    with pytest.raises(RuntimeError, match=words):
        require_enough(SimpleNamespace(**as_it_is | cfg))
