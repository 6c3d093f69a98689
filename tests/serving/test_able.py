"""Two releases on one database: which of them serves, and what the other says."""

import json
from collections.abc import Iterable

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.utils import timezone
from tests.world import World

from scalewitness import __version__
from scalewitness.ledger.models import Release
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.services import releases
from scalewitness.ledger.services.releases import older_beside, unable
from scalewitness.serving import able
from scalewitness.serving.able import OnlyWhenAble

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """It looks at each request, and keeps the test's connection."""
    monkeypatch.setattr(able, "LOOKS_EACH", 0.0)
    monkeypatch.setattr(connection, "close", lambda: None)


class Asked:
    """A web process, asked."""

    def __init__(self) -> None:
        self._application = OnlyWhenAble(self._serve)

    def _serve(self, environ: dict[str, object], start: object) -> Iterable[bytes]:
        return [b"served"]

    def __call__(self, path: str) -> tuple[str, dict[str, str], bytes]:
        found: list[tuple[str, dict[str, str]]] = []

        def start(status: str, headers: list[tuple[str, str]]) -> None:
            found.append((status, dict(headers)))

        content = b"".join(self._application({"PATH_INFO": path}, start))
        return (*(found[0] if found else ("200 OK", {})), content)


@pytest.fixture
def behind() -> None:
    """The tables are as before the newest migration of this release."""
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM django_migrations WHERE app = 'ledger' AND name LIKE '0016%'")


def migrated() -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO django_migrations (app, name, applied) VALUES"
            " ('ledger', '0016_release', now())"
        )


def test_every_migration_of_ours_is_looked_for() -> None:
    """The files that are listed are those that Django applied."""
    assert unable(connection) is None


def test_a_release_before_its_migration_says_so_and_serves_once_it_is_done(behind: None) -> None:
    asked = Asked()
    status, headers, content = asked("/api/v1/push")
    assert (status, json.loads(content)["code"]) == ("503 Service Unavailable", "busy")
    assert int(headers["Retry-After"]) > 0
    status, headers, _ = asked("/animals")
    assert (status, "Retry-After" in headers) == ("503 Service Unavailable", True)
    status, _, content = asked("/health/ready")
    told = json.loads(content)
    assert (status, told["release"]) == ("503 Service Unavailable", __version__)
    assert "the first ledger.0016_release" in told["why"]
    assert asked("/health/live")[2] == b"served"
    migrated()
    assert asked("/api/v1/push")[2] == b"served"


def test_a_release_serves_on_tables_that_have_gone_on(world: World) -> None:
    """As the next release's migrations leave them, which only add (`tests/house`)."""
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE ledger_entry ADD COLUMN more text")
        cursor.execute("ALTER TABLE calls_call ADD COLUMN more text NOT NULL DEFAULT ''")
        cursor.execute("CREATE TABLE ledger_fresh (id bigint PRIMARY KEY)")
        cursor.execute(
            "INSERT INTO django_migrations (app, name, applied) VALUES"
            " ('ledger', '0999_fresh', now())"
        )
    Release.objects.create(version="9.9", oldest=__version__, at=timezone.now())
    assert Asked()("/animals")[2] == b"served"
    size = tip().size
    world.call(world.odile, world.animal("A1"), "male")
    assert tip().size > size


def test_a_release_that_the_tables_left_behind_does_not_serve() -> None:
    Release.objects.create(version="9.9", oldest="9.9", at=timezone.now())
    why = json.loads(Asked()("/health/ready")[2])["why"]
    assert why.endswith(f"none before 9.9 may run, and this is {__version__}.")


def test_migrating_notes_the_release(monkeypatch: pytest.MonkeyPatch) -> None:
    assert Release.objects.get().version == __version__


def test_migrate_refuses_while_an_older_release_runs_that_may_not_run_beside(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SET application_name = 'scalewitness web 0.1'")
        assert older_beside(connection) is None
        monkeypatch.setattr(releases, "OLDEST_BESIDE", "0.2")
        with pytest.raises(CommandError, match=r"cannot run beside 0\.1: stop every web"):
            call_command("migrate", verbosity=0)
        cursor.execute("SET application_name = 'scalewitness command 0.1'")
        cursor.execute("SELECT pg_stat_clear_snapshot()")  # else of the transaction's begin
        assert older_beside(connection) is None
