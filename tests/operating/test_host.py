"""What ``check`` finds of the settings, the database, the host, the log and the backups."""

import json
import os
import socket
import struct
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from threading import Thread
from time import time
from types import SimpleNamespace
from typing import Any

import pytest
from django.db import connection, connections
from django.test import override_settings
from django.utils import timezone
from tests.operator import metrics
from tests.plugins.environment import ENVIRONMENT
from tests.plugins.services import Services
from tests.world import World

from backups import stamp
from scalewitness import env_file, replica
from scalewitness.ledger.services.fencing import raise_fence
from scalewitness.monitoring.pulse import note_beat
from scalewitness.operating import host, processes
from scalewitness.operating.asked import Asked
from scalewitness.operating.looking import ALL, looked
from scalewitness.operating.results import Result, status


def seen(*only: str, **given: object) -> dict[str, tuple[str, str]]:
    """State and words by name; of several with one name the last."""
    results = looked(Asked(**given), only)  # type: ignore[arg-type]
    return {one.name: (one.state, one.words) for one in results}


def test_the_owners_role_and_a_missing_guard_are_wrong(db: None) -> None:
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE ledger_entry DISABLE TRIGGER refuse_change")
    found = seen("roles")
    assert found["roles"][0] == "wrong"
    assert "owns the tables" in found["roles"][1]
    assert found["guards"] == ("wrong", "no triggers guard ledger_entry")


def test_more_pools_than_connections_are_wrong(db: None) -> None:
    assert seen("connections", web_processes=1)["connections"][0] == "right"
    assert seen("connections", web_processes=100)["connections"][0] == "wrong"


def test_who_reads_from_a_replica_needs_a_connection_to_ask_by(
    db: None, monkeypatch: pytest.MonkeyPatch, settings: Any
) -> None:
    settings.WEB_CONNECTIONS = 16
    assert " 2 × 16 " in seen("connections")["connections"][1]
    monkeypatch.setitem(connections.settings, replica.ALIAS, {})
    assert " 2 × 17 " in seen("connections")["connections"][1]


@pytest.fixture
def three_minutes_ahead() -> Iterator[str]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as server:
        server.bind(("127.0.0.1", 0))

        def answer() -> None:
            _, caller = server.recvfrom(48)
            seconds = struct.pack("!II", int(time() + 180 + host.NTP_EPOCH), 0)
            server.sendto(bytes(40) + seconds, caller)

        Thread(target=answer, daemon=True).start()
        yield f"127.0.0.1:{server.getsockname()[1]}"


def test_a_clock_three_minutes_off_is_wrong(three_minutes_ahead: str) -> None:
    state, words = seen("clock", ntp=three_minutes_ahead)["clock"]
    assert state == "wrong"
    assert "s slow" in words
    assert abs(float(words.split()[2]) - 180) < 3


def test_a_disk_that_is_nearly_full_is_wrong(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(host, "LEAST_BYTES", 2**70)
    states = {one.state for one in looked(Asked(), ["disk"]) if "free" in one.words}
    assert states == {"wrong"}


def test_a_disk_smaller_than_what_must_be_free_elsewhere_may_be_right(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """As the memory is that a container has for its /tmp."""
    small = SimpleNamespace(total=2**28, used=2**20, free=2**28 - 2**20)
    monkeypatch.setattr("shutil.disk_usage", lambda place: small)
    states = {one.state for one in looked(Asked(), ["disk"]) if "free" in one.words}
    assert states == {"right"}


def test_a_memory_on_the_databases_disk_is_wrong(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with override_settings(LOG_MEMORY=str(tmp_path / "memory")):
        monkeypatch.setattr(host, "DATABASE_FOLDER", tmp_path)
        assert seen("memory")["memory"][0] == "wrong"
        monkeypatch.setattr(host, "DATABASE_FOLDER", Path("/proc/self"))
        assert seen("memory")["memory"][0] == "right"
    with override_settings(LOG_MEMORY=""):
        assert seen("memory")["memory"][0] == "unsure"


def test_the_age_of_backups_is_read_from_a_stamp(tmp_path: Path) -> None:
    stamp = tmp_path / "stamp"
    with override_settings(BACKUP_STAMP=str(stamp)):
        assert seen("backups")["backups"][0] == "wrong"
        stamp.touch()
        assert next(looked(Asked(), ["backups"])).state == "right"
        os.utime(stamp, (time() - 30 * 3600, time() - 30 * 3600))
        assert seen("backups")["backups"] == ("wrong", "the newest one is 30.0 h old")
    assert seen("backups")["backups"] == ("wrong", "nobody tells when one was made")


def test_what_failed_last_and_the_drill_are_read_from_the_stamp(db: None, tmp_path: Path) -> None:
    """As `deploy/backups` writes it: a drill of today makes no old backup new."""
    path, now = tmp_path / "stamp.json", timezone.now()
    with override_settings(BACKUP_STAMP=str(path)):
        stamp.write(path, "backup", "20261101F (full)", now, ok=True)
        stamp.write(path, "drill", "found sound", now, ok=True)
        assert {one.state for one in looked(Asked(), ["backups"])} == {"right"}
        assert 'scalewitness_backup_failed{part="drill"} 0.0' in metrics().content.decode()
        stamp.write(path, "backup", "the repository is full", now, ok=False)
        words = [one.words for one in looked(Asked(), ["backups"]) if one.state == "wrong"]
        assert words == ["the last backup failed: the repository is full"]
        assert 'scalewitness_backup_failed{part="backup"} 1.0' in metrics().content.decode()
        stamp.write(path, "backup", "20261101F (full)", now - timedelta(days=21), ok=True)
        stamp.write(path, "drill", "found sound", now, ok=True)
        words = [one.words for one in looked(Asked(), ["backups"]) if one.state == "wrong"]
        assert words == ["the newest one is 504.0 h old"]
        stamp.write(path, "backup", "20261122F (full)", now, ok=True)
        stamp.write(path, "drill", "found sound", now - timedelta(days=10), ok=True)
        words = [one.words for one in looked(Asked(), ["backups"]) if one.state == "wrong"]
        assert words == ["no restore drill went well for 9 days"]
        path.write_text("{")
        assert next(looked(Asked(), ["backups"])).state == "wrong"
        assert "scalewitness_backup_timestamp_seconds 0.0" in metrics().content.decode()


def test_the_age_of_backups_is_read_from_pgbackrest(tmp_path: Path) -> None:
    """As `pgbackrest info --output=json` has it (pgBackRest's user guide, "Get info")."""

    def backup(hours: float, **more: object) -> dict[str, object]:
        return {"timestamp": {"start": 0, "stop": time() - hours * 3600}, **more}

    printed = tmp_path / "info"
    with override_settings(BACKUP_INFO_COMMAND=f"cat {printed}"):
        newest = [backup(50), backup(40), backup(1, error=True)]
        printed.write_text(json.dumps([{"name": "record", "backup": newest}]))
        assert seen("backups")["backups"] == ("wrong", "the newest one is 40.0 h old")
        printed.write_text("[]")
        assert seen("backups")["backups"][0] == "wrong"


def test_a_file_of_settings_that_others_can_read_is_wrong(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "env"
    path.write_text("")
    path.chmod(0o640)
    monkeypatch.setenv(env_file.VARIABLE, str(path))
    assert seen("secrets")["secrets"][0] == "right"
    path.chmod(0o644)
    assert seen("secrets")["secrets"][0] == "wrong"


def test_a_copy_of_the_keys_is_held_to_them(tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    keys = {name: ENVIRONMENT[name] for name in ("SECRET_KEY", "LOG_SIGNING_KEY", "LOG_MAP_KEY")}
    copy.write_text(env_file.filled("", keys))
    assert seen("secrets", kept_keys=copy)["keys"][0] == "right"
    copy.write_text(env_file.filled("", keys | {"LOG_MAP_KEY": "of-another"}))
    state, words = seen("secrets", kept_keys=copy)["keys"]
    assert (state, "LOG_MAP_KEY" in words, "of-another" in words) == ("wrong", True, False)
    assert seen("secrets")["keys"][0] == "unsure"


def test_a_fence_and_entries_that_nobody_signs_are_wrong(world: World) -> None:
    assert seen("log")["log"][0] == "right"
    raise_fence("it was set back", timezone.now() - timedelta(days=1))
    found = seen("log")
    assert found["log"] == ("wrong", "it is fenced: it was set back")


def test_beat_that_stands_still_and_a_worker_that_is_away_are_wrong(
    services: Services, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(processes, "ANSWER", 0.2)
    note_beat(time())
    found = seen("queue", "beat", "worker")
    assert {name: state for name, (state, _) in found.items()} == {
        "queue": "right",
        "beat": "right",
        "worker": "wrong",
    }
    note_beat(time() - 300)
    assert seen("beat")["beat"][0] == "wrong"


def test_something_wrong_counts_and_what_was_not_tested_only_if_asked_for() -> None:
    right, unsure, wrong = (Result("a", state, "") for state in ("right", "unsure", "wrong"))
    assert status([right], strict=True) == 0
    assert (status([right, unsure], strict=False), status([unsure], strict=True)) == (0, 3)
    assert status([unsure, wrong], strict=True) == 1


def test_whatever_fails_the_rest_is_looked_at() -> None:
    """Without a database that may be asked, as tests without one are."""
    smtp = "django.core.mail.backends.smtp.EmailBackend"
    away = {"PUBLIC_URL": "https://127.0.0.1:1", "EMAIL_PORT": 1, "EMAIL_BACKEND": smtp}
    with override_settings(**away):
        only = [one for one in ALL if one not in {"worker", "names", "roles", "log", "letters"}]
        found = seen(*only, mail_to="somebody@record.example")
    assert found["site"][0] == "wrong"
    assert found["mail"][0] == "wrong"
    assert found["phone"][0] == "unsure"
