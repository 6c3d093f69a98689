"""What watches a service: every number it asks for is there, and every alert says what to do."""

import gzip
import json
import re
import shutil
import subprocess
from datetime import timedelta
from os import utime
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.db import connection
from django.utils import timezone
from prometheus_client.parser import text_string_to_metric_families
from tests.ledger.test_pushing import SIGNER
from tests.operator import metrics

from scalewitness.api import gauges
from scalewitness.ledger.models import WitnessPush
from scalewitness.ledger.services.signing import sign_checkpoint
from scalewitness.monitoring import pulse
from scalewitness.replica import Lag
from stack.local import ROOT

FOLDER = ROOT / "deploy" / "monitoring"
GUIDE = (ROOT / "deploy" / "WATCHING.md").read_text()
NAME = re.compile(r"\bscalewitness_[a-z_]+\b")
SUFFIXES = ("_bucket", "_count", "_sum")


def alerts() -> list[dict[str, Any]]:
    groups = yaml.safe_load((FOLDER / "alerts.yml").read_text())["groups"]
    return [rule for group in groups for rule in group["rules"]]


def dashboard() -> dict[str, Any]:
    found: dict[str, Any] = json.loads((FOLDER / "dashboard.json").read_text())
    return found


def asked_for() -> set[str]:
    expressions = [one["expr"] for one in alerts()]
    panels = dashboard()["panels"]
    expressions += [target["expr"] for one in panels for target in one.get("targets", ())]
    return {name for one in expressions for name in NAME.findall(one)}


@pytest.fixture
def answered(db: None, settings: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> set[str]:
    """The names of all numbers, where everything is set that can be."""
    stamp = tmp_path / "stamp"
    tried = {"at": "2026-11-25T02:30:00Z", "ok": True, "good_at": "2026-11-25T02:30:00Z"}
    stamp.write_text(json.dumps({key: {**tried, "words": ""} for key in ("backup", "drill")}))
    settings.BACKUP_STAMP = str(stamp)
    settings.LOG_WITNESSES = [f"{SIGNER.verifier} https://watch.example/"]
    # There is no replica here to follow.
    monkeypatch.setattr(gauges, "is_configured", lambda: True)
    monkeypatch.setattr(gauges, "lag", lambda: Lag(0, 0.0))
    now = timezone.now()
    WitnessPush.objects.create(
        key=str(SIGNER.verifier), url="https://watch.example/", next_try_at=now, cosigned_at=now
    )
    sign_checkpoint(now)
    pulse.note_beat(now.timestamp())
    pulse.note_worker("one@here", now.timestamp())
    pulse.note_task("scalewitness.ledger.tasks.sign_head", now.timestamp(), 0.1, failed=True)
    pulse.note_task("scalewitness.ledger.tasks.sign_head", now.timestamp(), 0.1, failed=False)
    families = list(text_string_to_metric_families(metrics().content.decode()))
    samples = {sample.name for one in families for sample in one.samples}
    # Of what is counted by a label, nothing is there before it happened.
    return samples | {one.name + end for one in families for end in ("", "_total", *SUFFIXES)}


def test_every_number_that_is_asked_for_is_there_and_explained(answered: set[str]) -> None:
    assert len(asked_for()) > 40
    assert asked_for() - answered == set()
    assert {one for one in asked_for() if _plain(one) not in GUIDE} == set()


def test_the_guide_names_no_number_that_is_not_there(answered: set[str]) -> None:
    assert set(NAME.findall(GUIDE)) - answered == set()


@pytest.mark.parametrize(
    ("archived", "failed", "told"),
    [
        ("NULL", "NULL", (0.0, 0.0)),
        ("to_timestamp(5)", "NULL", (5.0, 0.0)),
        ("to_timestamp(5)", "to_timestamp(4)", (5.0, 0.0)),
        ("to_timestamp(5)", "to_timestamp(6)", (5.0, 1.0)),
        ("NULL", "to_timestamp(6)", (0.0, 1.0)),
    ],
)
def test_an_archive_that_takes_nothing_is_a_number(
    db: None, archived: str, failed: str, told: tuple[float, float]
) -> None:
    """What PostgreSQL tells of it, told here by a view of the same name: it archives nothing."""
    with connection.cursor() as cursor:
        cursor.execute(
            "CREATE TEMPORARY VIEW pg_stat_archiver AS SELECT"
            f" {archived}::timestamptz AS last_archived_time,"
            f" {failed}::timestamptz AS last_failed_time"
        )
    families = text_string_to_metric_families(metrics().content.decode())
    found = {one.name: one.samples[0].value for one in families if "_wal_" in one.name}
    names = ("scalewitness_wal_archived_timestamp_seconds", "scalewitness_wal_archive_fails")
    assert tuple(found[name] for name in names) == told


def _plain(name: str) -> str:
    for end in SUFFIXES:
        name = name.removesuffix(end)
    return name


def test_every_alert_says_what_it_is_and_what_to_do_and_where_that_stands() -> None:
    sections = {_anchor(one) for one in re.findall(r"^### (.+)$", GUIDE, re.MULTILINE)}
    tested = (FOLDER / "alerts_test.yml").read_text()
    for one in alerts():
        said, name = one["annotations"], one["alert"]
        assert one["labels"]["severity"] in {"page", "ticket"}, name
        assert said["summary"].endswith("."), name
        assert said["do"].endswith("."), name
        file, _, section = said["guide"].partition("#")
        assert (ROOT / file).is_file(), name
        assert section in sections, name
        assert f"`{name}`" in GUIDE, name
        assert f'ALERTS{{alertname="{name}",alertstate="firing"' in tested, name
    used = {one["annotations"]["guide"].partition("#")[2] for one in alerts()}
    assert used == sections


def _anchor(heading: str) -> str:
    return re.sub(r"[^\w -]", "", heading.lower()).replace(" ", "-")


def test_no_panel_lies_on_another_and_each_has_its_source() -> None:
    panels = dashboard()["panels"]
    assert len({one["id"] for one in panels}) == len(panels) > 25
    taken: set[tuple[int, int]] = set()
    for one in panels:
        at = one["gridPos"]
        cells = {
            (x, y)
            for x in range(at["x"], at["x"] + at["w"])
            for y in range(at["y"], at["y"] + at["h"])
        }
        assert taken.isdisjoint(cells), one["title"]
        assert max(x for x, _ in cells) < 24, one["title"]
        taken |= cells
        for target in one.get("targets", ()):
            assert target["datasource"]["uid"] == "${source}", one["title"]
    assert [one["name"] for one in dashboard()["templating"]["list"]] == ["source"]


def test_promtool_finds_rules_and_their_tests_good() -> None:
    if shutil.which("promtool") is None:
        pytest.skip("there is no promtool here: apt-get install prometheus")
    subprocess.run([FOLDER / "check"], check=True, capture_output=True)


def test_what_holds_addresses_is_gone_after_a_fortnight(tmp_path: Path) -> None:
    """Also where nothing comes in any more: by logrotate itself, with the sample."""
    logrotate = shutil.which("logrotate", path="/usr/sbin:/usr/bin")
    if logrotate is None:
        pytest.skip("there is no logrotate here: apt-get install logrotate")
    text = (FOLDER / "logrotate").read_text().replace("/var/log/nginx/", f"{tmp_path}/")
    sample = tmp_path / "sample"
    sample.write_text(re.sub(r"    create.*|    postrotate.*?endscript\n", "", text, flags=re.S))
    sample.chmod(0o644)
    log, early = tmp_path / "record.access.log", tmp_path / "record.access.log.2.gz"
    log.write_text("203.0.113.7\n")
    early.write_text("203.0.113.8\n")
    fifteen_days_ago = (timezone.now() - timedelta(days=15)).timestamp()
    utime(early, (fifteen_days_ago, fifteen_days_ago))
    command = [logrotate, "--force", "--state", str(tmp_path / "state"), str(sample)]
    subprocess.run(command, check=True)
    assert "203.0.113.7\n" in _left(tmp_path)
    assert "203.0.113.8\n" not in _left(tmp_path)
    for _ in range(13):  # a day each, and nobody comes
        log.touch()
        subprocess.run(command, check=True)
    assert not any("203.0.113" in one for one in _left(tmp_path))


def _left(folder: Path) -> list[str]:
    files = [one.read_bytes() for one in folder.glob("record.access.log*")]
    return [(gzip.decompress(one) if one[:2] == b"\x1f\x8b" else one).decode() for one in files]
