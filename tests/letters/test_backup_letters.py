"""What operators are told of backups, once for each trouble, and nobody else."""

import json
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import LazySettings
from django.core import mail as outbox
from tests.operator import metrics
from tests.world import START, World

from backups import stamp
from scalewitness.letters.backups import look_at_backups
from scalewitness.mail.models import Letter
from scalewitness.mail.services.delivering import deliver_due

pytestmark = pytest.mark.django_db
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
SAID = "role record at 192.0.2.7, odile@keepers.example: no room"
"""What a program may say of its failure."""


@pytest.fixture
def path(world: World, settings: LazySettings, tmp_path: Path) -> Path:
    """The stamp, of a backup and a drill that went well; Odile operates."""
    settings.OPERATORS = [world.odile.email, "nobody@keepers.example"]
    settings.BACKUP_STAMP = str(tmp_path / "stamp.json")
    path = Path(settings.BACKUP_STAMP)
    for part in ("archive", "backup", "drill"):
        stamp.write(path, part, "well", START, ok=True)  # type: ignore[arg-type]
    return path


def told(now: datetime) -> list[tuple[str, str]]:
    """Of what the operator is told anew."""
    before = set(Letter.objects.values_list("pk", flat=True))
    look_at_backups(now)
    made = Letter.objects.exclude(pk__in=before)
    return [(one.context["part"], one.context["how"]) for one in made]


def test_a_failure_is_told_once_a_day_and_again_each_week_that_nobody_tries(path: Path) -> None:
    assert told(START + HOUR) == []
    stamp.write(path, "drill", SAID, START + HOUR, ok=False)
    assert told(START + HOUR) == [("drill", "failed")]
    stamp.write(path, "drill", SAID, START + 2 * HOUR, ok=False)
    assert told(START + 2 * HOUR) == [], "the same day, tried again"
    stamp.write(path, "backup", "well", START + DAY, ok=True)
    stamp.write(path, "drill", SAID, START + DAY, ok=False)
    assert told(START + DAY) == [("drill", "failed")]
    stamp.write(path, "backup", "well", START + 8 * DAY, ok=True)
    assert told(START + 8 * DAY) == [("drill", "failed")], "a week later"
    assert told(START + 8 * DAY + HOUR) == []
    stamp.write(path, "drill", "well", START + 8 * DAY, ok=True)
    assert told(START + 8 * DAY + 2 * HOUR) == []


def test_a_job_that_runs_no_more_is_told_of_too(path: Path) -> None:
    assert told(START + DAY + HOUR) == []
    assert told(START + DAY + 3 * HOUR) == [("backup", "overdue")]
    assert told(START + 5 * DAY) == []
    assert told(START + 9 * DAY + HOUR) == [("backup", "overdue"), ("drill", "overdue")]


def test_a_stamp_that_cannot_be_read_is_told_once_a_week(path: Path) -> None:
    path.write_text("{")
    assert told(START) == [("backup", "unknown")]
    assert told(START + HOUR) == []
    assert told(START + 7 * DAY) == [("backup", "unknown")]


def test_the_letter_names_no_one_and_nothing_but_what_to_do(path: Path, world: World) -> None:
    stamp.write(path, "backup", SAID, START, ok=False)
    look_at_backups(START)
    assert SAID not in json.dumps(list(Letter.objects.values_list("context", flat=True)))
    deliver_due(START)
    (sent,) = outbox.outbox
    assert sent.to == [world.odile.email]
    assert sent.subject == "A backup of the record failed"
    for part in (str(sent.body), str(sent.alternatives[0].content)):  # type: ignore[attr-defined]
        assert "192.0.2.7" not in part
        assert "keepers.example" not in part
        assert "check --only backups" in part
        assert "deploy/BACKUPS.md" in part


def test_where_nobody_can_be_told_the_log_says_so(
    path: Path, settings: LazySettings, caplog: pytest.LogCaptureFixture
) -> None:
    settings.OPERATORS = ["nobody@keepers.example"]
    stamp.write(path, "backup", SAID, START, ok=False)
    assert told(START) == []
    assert "nobody_to_tell" in caplog.text


def test_a_command_is_asked_by_the_worker_and_its_answer_is_a_number(
    world: World, settings: LazySettings, tmp_path: Path
) -> None:
    """A scrape runs no command."""
    settings.OPERATORS = [world.odile.email]
    info, ran = tmp_path / "info", tmp_path / "ran"
    settings.BACKUP_INFO_COMMAND = f"echo >> {ran}; cat {info}"
    made = {"timestamp": {"start": 0, "stop": START.timestamp()}}
    info.write_text(json.dumps([{"name": "record", "backup": [made]}]))
    assert told(START + HOUR) == []
    assert age() == START.timestamp()
    assert ran.read_text() == "\n"
    assert told(START + 2 * DAY) == [("backup", "overdue")]
    info.unlink()
    assert told(START + 2 * DAY) == [("backup", "unknown")]
    assert age() == 0.0


def age() -> float:
    lines = metrics().content.decode().splitlines()
    name = "scalewitness_backup_timestamp_seconds "
    return next(float(one.removeprefix(name)) for one in lines if one.startswith(name))


def test_without_anything_that_tells_nothing_is_told(world: World, settings: Any) -> None:
    settings.OPERATORS = [world.odile.email]
    assert told(START) == []
