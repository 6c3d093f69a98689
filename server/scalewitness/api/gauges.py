"""What `GET /metrics` looks up when it is asked: the record, its queue, and this host."""

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from shutil import disk_usage
from typing import Any

import structlog
from celery.schedules import maybe_schedule
from django.conf import settings
from django.db import DatabaseError, connection
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from psycopg_pool import PoolTimeout

from scalewitness.animals.queries.photo_files import overdue
from scalewitness.disclosures.queries import unacknowledged
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.ledger.queries.tree import last_signed, tip
from scalewitness.ledger.queries.witnesses import push_states
from scalewitness.mail.queries import letters_on_their_way, unsent_since
from scalewitness.monitoring.backups import NotKnown, attempts
from scalewitness.monitoring.pulse import Pulse, pulse
from scalewitness.replica import is_configured, lag

log = structlog.get_logger()


class Gauges:
    """A collector for `prometheus_client`: everything anew at each scrape."""

    def __init__(self, now: datetime) -> None:
        self._now = now

    def collect(self) -> Iterable[Metric]:
        try:
            record = [
                *(*_of_log(), *_of_database(), *_of_letters(self._now), *_of_witnesses()),
                *(*_of_replica(), _of_photos(self._now)),
            ]
        except (DatabaseError, PoolTimeout) as down:
            log.warning("database_unreachable", error=type(down).__name__)
            record = []
        yield _gauge(
            "scalewitness_database_up", "0 while PostgreSQL does not answer.", bool(record)
        )
        yield from record
        found = pulse()
        yield _gauge(
            "scalewitness_broker_up", "0 while the queue server does not answer.", found is not None
        )
        yield from () if found is None else _of_pulse(found, self._now)
        yield from _of_host(self._now)


def _gauge(name: str, text: str, value: float) -> Metric:
    return GaugeMetricFamily(name, text, value=float(value))


def _by(label: str, name: str, text: str, values: dict[str, float]) -> Metric:
    return _filled(GaugeMetricFamily(name, text, labels=[label]), values)


def _counted(label: str, name: str, text: str, values: dict[str, float]) -> Metric:
    return _filled(CounterMetricFamily(name, text, labels=[label]), values)


def _filled(family: Any, values: dict[str, float]) -> Metric:
    for name, value in values.items():
        family.add_metric([name], value)
    return family  # type: ignore[no-any-return]


def _of_log() -> Iterator[Metric]:
    yield _gauge("scalewitness_log_size", "Entries in the log.", tip().size)
    yield _gauge(
        "scalewitness_log_fenced", "1 while the log can only be read.", standing_fence() is not None
    )
    within = settings.LOG_SIGNS_WITHIN
    yield _gauge("scalewitness_log_signs_within_seconds", "The promise: LOG_SIGNS_WITHIN.", within)
    if (signed := last_signed()) is not None:
        size, at = signed
        yield _gauge("scalewitness_log_signed_size", "Entries under the last signature.", size)
        yield _gauge(
            "scalewitness_log_signed_timestamp_seconds", "When that was made.", at.timestamp()
        )


def _of_database() -> Iterator[Metric]:
    with connection.cursor() as cursor:
        cursor.execute(DATABASE)
        size, replicas, archived, fails = cursor.fetchone()
    yield _gauge("scalewitness_database_bytes", "What the database takes on its disk.", size)
    text = "Replicas and receivers of WAL that are connected to PostgreSQL."
    yield _gauge("scalewitness_replicas", text, replicas)
    text = "When PostgreSQL last handed a segment of its log to the archive; 0: never."
    yield _gauge("scalewitness_wal_archived_timestamp_seconds", text, archived)
    text = "1 where the archive did not take the segment that it was last handed."
    yield _gauge("scalewitness_wal_archive_fails", text, fails)


DATABASE = """
SELECT pg_database_size(current_database()), (SELECT count(*) FROM pg_stat_replication),
  coalesce(extract(epoch FROM last_archived_time)::float8, 0),
  coalesce(last_failed_time > coalesce(last_archived_time, '-infinity'), false)
FROM pg_stat_archiver
"""


def _of_replica() -> Iterator[Metric]:
    if not is_configured():
        return
    found, text = lag(), "0 while no replica can be read from."
    yield _gauge("scalewitness_replica_up", text, found is not None)
    if found is not None:
        text = "Of the write-ahead log, that the replica has yet to apply."
        yield _gauge("scalewitness_replica_lag_bytes", text, found.bytes)
        text = "Since what the replica applied last; 0 where nothing is left."
        yield _gauge("scalewitness_replica_lag_seconds", text, found.seconds)


def _of_letters(now: datetime) -> Iterator[Metric]:
    states: dict[str, float] = {**letters_on_their_way()}
    yield _by("state", "scalewitness_letters", "Letters that reached nobody yet, by state.", states)
    _, since = unsent_since(now)
    waits = 0.0 if since is None else (now - since).total_seconds()
    yield _gauge(
        "scalewitness_letters_oldest_waiting_seconds", "How long the oldest has waited.", waits
    )
    text = "Disclosures that their buyer has not acknowledged."
    yield _gauge("scalewitness_disclosures_unacknowledged", text, unacknowledged())


def _of_photos(now: datetime) -> Metric:
    text = "Photos that wait for an hour or more to be moved into the bucket, or erased from it."
    return _gauge("scalewitness_photos_overdue", text, sum(overdue(now)))


def _of_witnesses() -> Iterator[Metric]:
    """By the witness's own name, as its operator chose it."""
    states = {target.key.name: state for target, state in push_states()}
    sizes = {name: float(one.size) for name, one in states.items()}
    yield _by(
        "name", "scalewitness_witness_size", "Entries that an outside witness has seen.", sizes
    )
    failures = {name: float(one.failures) for name, one in states.items()}
    yield _by(
        "name", "scalewitness_witness_failures", "Its refusals since it last cosigned.", failures
    )
    answers = {name: float(one.status or 0) for name, one in states.items()}
    yield _by(
        "name", "scalewitness_witness_status", "Its last answer; 0 where there was none.", answers
    )
    signed = {name: one.cosigned_at.timestamp() for name, one in states.items() if one.cosigned_at}
    yield _by(
        "name", "scalewitness_witness_cosigned_timestamp_seconds", "When it last cosigned.", signed
    )


def _of_pulse(found: Pulse, now: datetime) -> Iterator[Metric]:
    yield _gauge("scalewitness_queue_length", "Tasks that no worker has begun with.", found.queued)
    yield _gauge(
        "scalewitness_workers_alive", "Workers heard of lately.", found.alive(now.timestamp())
    )
    if found.workers:
        last = max(found.workers.values())
        yield _gauge("scalewitness_worker_timestamp_seconds", "When one was last heard of.", last)
    if found.backup is not None and settings.BACKUP_INFO_COMMAND and not settings.BACKUP_STAMP:
        yield from _of_newest(found.backup)
    if found.beat is not None:
        yield _gauge(
            "scalewitness_beat_timestamp_seconds", "When beat last sent a task.", found.beat
        )
    runs = {name: float(count) for name, count in found.runs.items()}
    yield _counted("task", "scalewitness_task_runs", "Tasks done.", runs)
    failed = {name: float(count) for name, count in found.failed.items()}
    yield _counted(
        "task", "scalewitness_task_failures", "Tasks that ended with an exception.", failed
    )
    yield _counted("task", "scalewitness_task_seconds", "How long they took.", found.took)
    text = "How long ago beat should have had a task done again."
    yield _by("task", "scalewitness_task_overdue_seconds", text, _overdue(found, now))


def _overdue(found: Pulse, now: datetime) -> dict[str, float]:
    """Of each task in beat's plan that was ever done."""
    plan: list[dict[str, Any]] = list(settings.CELERY_BEAT_SCHEDULE.values())
    return {
        one["task"]: max(0.0, -_left(one["schedule"], found.ran[one["task"]], now))
        for one in plan
        if one["task"] in found.ran
    }


def _left(plan: Any, ran: float, now: datetime) -> float:
    """Seconds until a task is due again."""
    schedule: Any = maybe_schedule(plan)
    left: timedelta = schedule.remaining_estimate(datetime.fromtimestamp(ran, now.tzinfo))
    return left.total_seconds()


def _of_host(now: datetime) -> Iterator[Metric]:
    yield _gauge(
        "scalewitness_clock_timestamp_seconds", "What this host's clock says.", now.timestamp()
    )
    disks = {folder: disk_usage(folder) for folder in settings.WATCHED_DISKS}
    free = {folder: float(disk.free) for folder, disk in disks.items()}
    yield _by("folder", "scalewitness_disk_free_bytes", "Free on the disk of a folder.", free)
    whole = {folder: float(disk.total) for folder, disk in disks.items()}
    yield _by("folder", "scalewitness_disk_bytes", "The size of that disk.", whole)
    if settings.BACKUP_STAMP:
        yield from _of_stamp()


def _of_stamp() -> Iterator[Metric]:
    try:
        found = attempts()
    except NotKnown as fault:
        log.warning("backup_stamp_unread", error=type(fault.__cause__).__name__)
        found = {}
    backup, drill = found.get("backup"), found.get("drill")
    yield from _of_newest(backup.timestamp if backup else 0.0)
    if drill:
        text = "When a backup was last restored and found sound; 0: never."
        yield _gauge("scalewitness_drill_timestamp_seconds", text, drill.timestamp)
    failed = {part: float(not one.ok) for part, one in found.items()}
    text = "1 where the last attempt of it failed: backup, archive or drill."
    yield _by("part", "scalewitness_backup_failed", text, failed)


def _of_newest(made: float) -> Iterator[Metric]:
    text = "When the last backup was complete; 0: never."
    yield _gauge("scalewitness_backup_timestamp_seconds", text, made)
    text = "Within how long one is to be made: BACKUP_WITHIN."
    yield _gauge("scalewitness_backup_within_seconds", text, settings.BACKUP_WITHIN)
