"""A backup, the copy restored from it, and who is told what: real dumps between real databases.

One story in one module, each step on what the step before left: a source that goes on after
its backup, a copy restored from it, and a fork of that copy.
"""

import json
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stdout
from io import StringIO
from pathlib import Path
from uuid import uuid4

import psycopg
import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import connection
from pytest_django import DjangoDbBlocker
from tests.ledger.growing import STATED
from tests.ledger.setting_back import append_others, signed_now, without_guards
from tests.ledger.test_tree import NOW, append
from tests.pictures import body_of
from tests.plugins.environment import SERVICES
from tests.world import START, World

from scalewitness.animals.models import PhotoFile
from scalewitness.domain.errors import Fenced
from scalewitness.domain.translog.keys import read_signer
from scalewitness.domain.translog.notes import open_checkpoint
from scalewitness.ledger.models import Checkpoint, Entry, Tile
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.ledger.queries.tree import Tip, continues, growth_proof, tip
from scalewitness.ledger.services.receipting import receipt_of
from scalewitness.ledger.services.signing import sign_checkpoint
from scalewitness.mail.models import Letter
from scalewitness.mail.services.delivering import claim
from scalewitness.setting_up.keys import fresh_log_key
from stack import backup, restore

SOURCE, COPY, FORK = "backup_source", "backup_copy", "backup_fork"
LATER = START.replace(year=START.year + 1)
LOST = 7 + STATED
"""Entries that the source got after the backup."""


def receipt_now() -> str:
    return str(receipt_of(Entry.objects.get(position=4), NOW))


def address(name: str, url: str = SERVICES.owner_url) -> str:
    return f"{url.rpartition('/')[0]}/{name}"


def make(name: str, template: str = "template1") -> None:
    with psycopg.connect(address("postgres"), autocommit=True) as owner:
        owner.execute(f"DROP DATABASE IF EXISTS {name}".encode())
        owner.execute(f"CREATE DATABASE {name} TEMPLATE {template}".encode())


@contextmanager
def at(name: str) -> Iterator[None]:
    """Every table is that of another database, and what is done there is committed."""
    before = connection.settings_dict["NAME"]
    _turn_to(name)
    try:
        yield
    finally:
        _turn_to(before)


def _turn_to(name: str) -> None:
    connection.close()
    connection.close_pool()
    connection.settings_dict["NAME"] = name


def in_the_bucket(world: World) -> None:
    said = world.say(world.odile, "photo_attached", world.animal("V2").pk, body_of(b"a photo"))
    PhotoFile.objects.create(photo_id=said.id, object=uuid4(), arrived_at=world.now)


@pytest.fixture(scope="module")
def story(
    untouched_database: str,
    django_db_blocker: DjangoDbBlocker,
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[Path]:
    """A folder, and a source database with a world, some full tiles and a waiting letter."""
    folder = tmp_path_factory.mktemp("backup")
    with django_db_blocker.unblock():
        make(SOURCE, untouched_database)
        with at(SOURCE):
            world = World()
            world.invite(world.greta, world.verified("V1"))
            in_the_bucket(world)
            append(300)
            (folder / "older").write_text(receipt_now())
            append(3)
            (folder / "at-backup").write_text(sign_checkpoint(NOW).note)
            append(2)
            (folder / "unheld").write_text(signed_now())
        yield folder
    with psycopg.connect(address("postgres"), autocommit=True) as owner:
        for name in (SOURCE, COPY, FORK):
            owner.execute(f"DROP DATABASE IF EXISTS {name}".encode())


@pytest.fixture(scope="module")
def backed_up(story: Path) -> Path:
    """The backup; the source went on after it."""
    with owned(SOURCE):
        assert backup.main([str(story / "b1")]) == 0
    with at(SOURCE):
        append(LOST - STATED)
        (story / "newest").write_text(sign_checkpoint(NOW).note)
    return story / "b1"


@pytest.fixture(scope="module")
def restored(backed_up: Path) -> Path:
    """A copy restored into a new database."""
    make(COPY)
    with owned(COPY), redirect_stdout(StringIO()) as said:
        assert restore.main([str(backed_up)]) == 0
    assert "1 photos are in the bucket" in said.getvalue()
    return backed_up


@contextmanager
def owned(name: str) -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DATABASE_OWNER_URL", address(name))
        patch.setenv("DATABASE_URL", address(name, SERVICES.app_url))
        patch.setenv("DJANGO_SETTINGS_MODULE", "scalewitness.settings")
        yield


def log_of(name: str) -> tuple[Tip, list[tuple[int, bytes]], list[tuple[int, int, bytes]]]:
    with at(name):
        entries = [(p, bytes(leaf)) for p, leaf in Entry.objects.values_list("position", "leaf")]
        tiles = [
            (level, index, bytes(layers))
            for level, index, layers in Tile.objects.values_list("level", "index", "layers")
        ]
        return tip(), sorted(entries), sorted(tiles)


# --- backup -------------------------------------------------------------------------------


def test_a_backup_says_what_it_holds(backed_up: Path) -> None:
    manifest = json.loads((backed_up / "manifest.json").read_text())
    note = (backed_up.parent / "at-backup").read_text()
    checkpoint, _ = open_checkpoint(note, read_signer(settings.LOG_SIGNING_KEY).verifier)
    assert (manifest["size"], manifest["checkpoint"]) == (checkpoint.size + 2, note)
    assert manifest["dump_bytes"] == (backed_up / "scalewitness.dump").stat().st_size
    assert manifest["postgresql"].startswith("18")
    assert manifest["photos_in_bucket"] == 1
    assert backed_up.stat().st_mode & 0o077 == 0
    assert {path.name for path in backed_up.iterdir()} == {"manifest.json", "scalewitness.dump"}


def test_a_backup_overwrites_nothing(backed_up: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = (backed_up / "manifest.json").read_bytes()
    with owned(SOURCE):
        assert backup.main([str(backed_up)]) == 1
    assert "overwrites nothing" in capsys.readouterr().err
    assert (backed_up / "manifest.json").read_bytes() == before


def test_a_failed_backup_leaves_nothing(story: Path) -> None:
    make(FORK)  # an empty database: no log in it
    with owned(FORK):
        assert backup.main([str(story / "none")]) == 1
    assert [path.name for path in story.iterdir() if "none" in path.name] == []


# --- restore ------------------------------------------------------------------------------


def test_a_copy_is_the_log_it_was(restored: Path) -> None:
    copy, source = log_of(COPY), log_of(SOURCE)
    size = copy[0].size
    assert size == source[0].size - LOST
    assert copy[1] == source[1][:size]
    assert copy[2] == source[2]
    with at(COPY):
        checkpoint, _ = open_checkpoint(
            (restored.parent / "at-backup").read_text(),
            read_signer(settings.LOG_SIGNING_KEY).verifier,
        )
        assert continues(Tip(checkpoint.size, checkpoint.root), tip())
        assert growth_proof(1, size) != []


def test_a_copy_is_guarded_again(restored: Path) -> None:
    """By triggers for its owner, by rights for the role that runs the service."""
    with psycopg.connect(address(COPY)) as owner, pytest.raises(psycopg.Error, match="append-only"):
        owner.execute("DELETE FROM ledger_fence")
    url = address(COPY, SERVICES.app_url)
    with psycopg.connect(url) as app, pytest.raises(psycopg.Error, match="permission denied"):
        app.execute("UPDATE ledger_entry SET leaf = ''")


def test_a_copy_takes_signs_and_sends_nothing(restored: Path) -> None:
    with at(COPY):
        fence = standing_fence()
        assert fence is not None
        assert fence.reason == restore.REASON
        with pytest.raises(Fenced):
            append(1)
        kept = Checkpoint.objects.count()
        assert Letter.objects.filter(state="waiting").exists()
        assert claim(LATER, 10) == []
        assert Checkpoint.objects.count() == kept


def test_a_database_in_use_or_not_empty_is_refused(restored: Path) -> None:
    with (
        psycopg.connect(address(COPY)),
        pytest.raises(restore.Refused, match="1 other sessions use the database"),
    ):
        restore.require_target(address(COPY), replace=True)
    with pytest.raises(restore.Refused, match="not empty"):
        restore.require_target(address(COPY), replace=False)
    restore.require_target(address(COPY), replace=True)


def test_a_dump_that_was_touched_is_refused(backed_up: Path, tmp_path: Path) -> None:
    touched = shutil.copytree(backed_up, tmp_path / "touched")
    dump = bytearray((touched / "scalewitness.dump").read_bytes())
    dump[len(dump) // 2] ^= 1
    (touched / "scalewitness.dump").write_bytes(dump)
    assert restore.read_backup(backed_up).size > 300
    with pytest.raises(restore.Refused, match="is not what was backed up"):
        restore.read_backup(touched)
    with pytest.raises(restore.Refused, match="is no backup"):
        restore.read_backup(tmp_path)


def test_a_restore_that_fails_half_way_leaves_nothing(backed_up: Path, tmp_path: Path) -> None:
    """A dump that ends early: no table without its fence."""
    whole = (backed_up / "scalewitness.dump").read_bytes()
    (tmp_path / "short").write_bytes(whole[: len(whole) * 3 // 4])
    make(FORK)
    with pytest.raises(subprocess.CalledProcessError):
        restore.load(address(FORK), tmp_path / "short", replace=False)
    with psycopg.connect(address(FORK)) as owner:
        assert owner.execute(restore.TABLES.encode()).fetchone() == (0,)


def test_a_log_is_not_restored_under_another_key(backed_up: Path) -> None:
    manifest = restore.read_backup(backed_up)
    another = fresh_log_key("testserver/log").secret()
    with pytest.raises(restore.Refused, match="the key this log was signed under"):
        restore.require_key(manifest, {"LOG_SIGNING_KEY": another})
    own = str(read_signer(settings.LOG_SIGNING_KEY).verifier)
    rotated = {"LOG_SIGNING_KEY": another, "LOG_RETIRED_KEYS": own}
    restore.require_key(manifest, rotated)
    given_over = {"LOG_SIGNING_KEY": another, "LOG_NEXT_KEY": settings.LOG_SIGNING_KEY}
    restore.require_key(manifest, given_over)


def test_a_full_database_can_be_replaced(restored: Path) -> None:
    make(FORK, COPY)
    with at(FORK):
        call_command("adopt", restored.parent / "unheld")
        append_others(1)
    restore.load(address(FORK), restored / "scalewitness.dump", replace=True)
    assert log_of(FORK) == log_of(COPY)
    with at(FORK):
        assert standing_fence() is not None


# --- adopt --------------------------------------------------------------------------------


def test_an_older_copy_is_not_adopted_with_whatever_file(
    restored: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Refused against the newest, it is not opened by an older one later."""
    folder, manifest = restored.parent, tmp_path / "manifest.checkpoint"
    manifest.write_text(json.loads((restored / "manifest.json").read_text())["checkpoint"])
    make(FORK, COPY)
    with at(FORK):
        for file in (folder / "older", manifest):
            with pytest.raises(CommandError, match="only that this copy is of this log"):
                call_command("adopt", file)
        with pytest.raises(CommandError, match=f"the last {LOST} are lost here"):
            call_command("adopt", folder / "newest")
        for file in (folder / "older", manifest, folder / "unheld"):
            with pytest.raises(CommandError, match=f"the last {LOST} are lost here"):
                call_command("adopt", file)
        assert standing_fence() is not None
    make(FORK, COPY)  # restored once more: it knows of no refusal, the memory does
    monkeypatch.setattr("django.conf.settings.LOG_MEMORY", str(tmp_path / "memory"))
    shutil.copy(folder / "newest", tmp_path / "memory")
    with at(FORK), pytest.raises(CommandError, match=f"the last {LOST} are lost here"):
        call_command("adopt", folder / "unheld")


def test_a_fork_is_not_adopted(restored: Path) -> None:
    """The same number of other facts, appended with the guards off."""
    make(FORK, COPY)
    with at(FORK):
        without_guards(LOST)
        with pytest.raises(CommandError, match="It is a fork"):
            call_command("adopt", restored.parent / "newest")
        assert standing_fence() is not None


def test_the_copy_is_adopted_against_what_it_continues(restored: Path) -> None:
    """On a copy of the copy: tests may run in any order."""
    make(FORK, COPY)
    with at(FORK):
        call_command("adopt", restored.parent / "unheld")
        append_others(1)
        assert sign_checkpoint(NOW).size == tip().size
        assert claim(LATER, 10) != []
