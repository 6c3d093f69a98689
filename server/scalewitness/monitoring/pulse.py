"""The worker's and beat's signs of life. Both keep them in the queue server: without it neither can
do anything, and the web, which is asked for them, has no other way to either.
"""

from dataclasses import dataclass
from typing import Final

from redis import Redis

from scalewitness.rate_limit import in_queue_server

BEAT: Final = "pulse:beat"
WORKERS: Final = "pulse:workers"
RAN, RUNS, FAILED, TOOK = ("pulse:ran", "pulse:runs", "pulse:failed", "pulse:took")
"""By task."""
BACKUP: Final = "pulse:backup"
QUEUE: Final = "celery"
"""Celery's default queue, a list of this name."""
ALIVE: Final = 30
"""Seconds for which a worker counts as alive after its last sign; it gives one every
:data:`SIGN_EVERY` (our judgement)."""
SIGN_EVERY: Final = 10
DAY: Final = 86_400


@dataclass(frozen=True, slots=True)
class Pulse:
    """Times in seconds since 1970; ``beat`` None where none has given a sign. ``backup``: of the
    newest that the worker was told of, 0 where it could not be; None where nobody asked."""

    queued: int
    beat: float | None
    workers: dict[str, float]
    ran: dict[str, float]
    runs: dict[str, int]
    failed: dict[str, int]
    took: dict[str, float]
    backup: float | None

    def alive(self, now: float) -> int:
        return sum(now - at < ALIVE for at in self.workers.values())


def note_beat(now: float) -> None:
    in_queue_server(lambda server: server.set(BEAT, now), lambda: None)


def note_worker(name: str, now: float) -> None:
    def there(server: Redis) -> None:
        with server.pipeline() as both:
            both.zadd(WORKERS, {name: now})
            both.zremrangebyscore(WORKERS, 0, now - DAY)
            both.execute()

    in_queue_server(there, lambda: None)


def note_task(name: str, now: float, seconds: float, *, failed: bool) -> None:
    """That it was run, and how it went."""

    def there(server: Redis) -> None:
        with server.pipeline() as all_at_once:
            if not failed:
                all_at_once.hset(RAN, name, str(now))
            all_at_once.hincrby(RUNS, name, 1)
            all_at_once.hincrby(FAILED, name, int(failed))
            all_at_once.hincrbyfloat(TOOK, name, seconds)
            all_at_once.execute()

    in_queue_server(there, lambda: None)


def note_backup(made: float) -> None:
    """When the newest was complete, as a command told; the web has no time to run one."""
    in_queue_server(lambda server: server.set(BACKUP, made), lambda: None)


def pulse() -> Pulse | None:
    """All of it, in one trip; None while the queue server does not answer."""
    return in_queue_server(_read, lambda: None)


def _read(server: Redis) -> Pulse:
    with server.pipeline() as asked:
        asked.llen(QUEUE)
        asked.get(BEAT)
        asked.zrange(WORKERS, 0, -1, withscores=True)
        for name in (RAN, RUNS, FAILED, TOOK):
            asked.hgetall(name)
        asked.get(BACKUP)
        queued, beat, workers, ran, runs, failed, took, backup = asked.execute()
    return Pulse(
        queued=queued,
        beat=None if beat is None else float(beat),
        workers={name.decode(): at for name, at in workers},
        ran={name.decode(): float(at) for name, at in ran.items()},
        runs={name.decode(): int(count) for name, count in runs.items()},
        failed={name.decode(): int(count) for name, count in failed.items()},
        took={name.decode(): float(seconds) for name, seconds in took.items()},
        backup=None if backup is None else float(backup),
    )
