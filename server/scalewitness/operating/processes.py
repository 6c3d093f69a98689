"""The queue server, the worker that takes from it, and beat that puts into it."""

from collections.abc import Iterator
from time import time
from typing import Final

from scalewitness.celery import app
from scalewitness.monitoring.pulse import pulse
from scalewitness.operating.asked import Asked
from scalewitness.operating.results import Result
from scalewitness.rate_limit import is_answered

ANSWER: Final = 3.0
"""Seconds for workers to answer in (our judgement)."""
OFTEN: Final = 60.0
"""Seconds within which beat sends something: it has tasks for every few (our judgement)."""
LEAST: Final = 2
"""Processes of workers: one may be at a season for a minute, and letters have the other."""


def queue(asked: Asked) -> Iterator[Result]:
    if is_answered():
        yield Result("queue", "right", "the queue server answers")
    else:
        todo = "see REDIS_URL; without it letters and signatures wait"
        yield Result("queue", "wrong", "the queue server does not answer", todo)


def worker(asked: Asked) -> Iterator[Result]:
    """Whether any answers, and with how many processes."""
    if not is_answered():
        yield Result("worker", "unsure", "the queue server does not answer", "see above")
        return
    answers = app.control.inspect(timeout=ANSWER).stats() or {}
    processes = sum(int(one["pool"]["max-concurrency"]) for one in answers.values())
    words = f"workers that answer: {len(answers)}, processes: {processes}"
    if not answers:
        words = f"none answers within {ANSWER:.0f} s"
        yield Result("worker", "wrong", words, "celery -A scalewitness.celery worker")
    elif processes < LEAST:
        yield Result("worker", "wrong", words, f"give it --concurrency {LEAST}")
    else:
        yield Result("worker", "right", words)


def beat(asked: Asked) -> Iterator[Result]:
    """When it last sent a task."""
    found = pulse()
    if found is None:
        yield Result("beat", "unsure", "the queue server does not answer", "see above")
    elif found.beat is None:
        yield Result("beat", "wrong", "it never sent a task", "celery -A scalewitness.celery beat")
    else:
        age = time() - found.beat
        words = f"it sent a task {age:.0f} s ago; {found.queued} wait for a worker"
        if age > OFTEN:
            todo = "run one, and no second one: celery -A scalewitness.celery beat"
            yield Result("beat", "wrong", words, todo)
        else:
            yield Result("beat", "right", words)
