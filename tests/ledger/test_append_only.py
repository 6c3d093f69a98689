"""Promise 1, as the database itself keeps it: for the owner by trigger, for the runtime
role by missing rights too."""

import psycopg
import pytest
from django.apps import apps
from django.db import ProgrammingError, connection, models, transaction
from django.db.utils import NotSupportedError
from tests.plugins.environment import SERVICES
from tests.world import World

from scalewitness.ledger.models import AppendOnly, Entry, Head
from scalewitness.ledger.services.guard import guard_tables, guarded_models, limit_runtime_role
from stack.postgres import APP, OWNER

pytestmark = pytest.mark.django_db
TABLES = sorted(model._meta.db_table for model in guarded_models())
ROWS = {
    "ledger_entry", "calls_call", "calls_standing", "sales_salestep", "disclosures_disclosure",
    "visits_visit", "people_grant", "animals_historicalanimal", "people_historicalkeeper",
}  # fmt: skip


def full(world: World) -> None:
    """Rows in the tables that matter most, so that row triggers have something to refuse."""
    animal = world.verified("V1")
    world.sold(animal)
    world.make_partner(world.pim)
    world.call(world.greta, animal, "female", visit=world.visit(world.greta, animal))
    for table in ROWS:
        with connection.cursor() as cursor:
            cursor.execute(f"SELECT count(*) FROM {table}")  # noqa: S608
            assert cursor.fetchone()[0] > 0, table


def refused(sql: str) -> str:
    with (
        pytest.raises((ProgrammingError, NotSupportedError)) as error,
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(sql)
    return str(error.value)


def test_every_fact_log_and_history_table_is_guarded() -> None:
    facts = {model for model in apps.get_models() if issubclass(model, AppendOnly)}
    histories = {model for model in apps.get_models() if "Historical" in model.__name__}
    assert len(histories) >= 3
    assert set(guarded_models()) == facts | histories
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT tgrelid::regclass::text, count(*) FROM pg_trigger "
            "WHERE tgname IN ('refuse_change', 'refuse_truncate') AND tgenabled = 'O' GROUP BY 1"
        )
        guarded = dict(cursor.fetchall())
    assert guarded == dict.fromkeys(TABLES, 2)


def test_even_the_owner_cannot_update_or_delete_rows(world: World) -> None:
    full(world)
    for table in sorted(ROWS):
        column = Entry._meta.pk.column if table == "ledger_entry" else None
        key = column or _key(table)
        assert "append-only" in refused(f"UPDATE {table} SET {key} = {key}")  # noqa: S608
        assert "append-only" in refused(f"DELETE FROM {table}")  # noqa: S608


def _key(table: str) -> str:
    model: type[models.Model] = next(
        one for one in apps.get_models() if one._meta.db_table == table
    )
    return str(model._meta.pk.column)


@pytest.mark.parametrize("table", TABLES)
def test_even_the_owner_cannot_truncate(table: str) -> None:
    assert "append-only" in refused(f"TRUNCATE {table} CASCADE")


def test_the_head_only_grows(world: World) -> None:
    world.animal("A1")
    size = Head.objects.get().size
    assert "only grows" in refused(f"UPDATE ledger_head SET size = {size - 1}")  # noqa: S608
    assert "only grows" in refused("UPDATE ledger_head SET root = ''")
    assert "only grows" in refused("DELETE FROM ledger_head")
    assert "only grows" in refused("TRUNCATE ledger_head")


@pytest.fixture
def becoming_the_runtime_role() -> None:
    """Let the owner become the runtime role for one transaction of a test."""
    if SERVICES.superuser_url is None:
        pytest.skip("DATABASE_URL names a server whose superuser is not ours")
    with psycopg.connect(SERVICES.superuser_url, autocommit=True) as superuser:
        superuser.execute(f"GRANT {APP} TO {OWNER}")


@pytest.mark.usefixtures("becoming_the_runtime_role")
def test_the_runtime_role_lacks_the_rights_altogether(world: World) -> None:
    """Rights, not triggers: they are checked first, so the message says which it was."""
    full(world)
    limit_runtime_role(connection, APP)
    with connection.cursor() as cursor:
        cursor.execute(f"SET LOCAL ROLE {APP}")
    for table in TABLES:
        assert "permission denied" in refused(f"UPDATE {table} SET {_key(table)} = NULL")  # noqa: S608
        assert "permission denied" in refused(f"DELETE FROM {table}")  # noqa: S608
        assert "permission denied" in refused(f"TRUNCATE {table}")
    assert "permission denied" in refused("DELETE FROM ledger_head")
    assert "must be owner" in refused("ALTER TABLE ledger_entry DISABLE TRIGGER ALL")
    # And it still can do its work.
    animal = world.animal("R1")
    world.call(world.odile, animal, "male")
    assert world.label(animal) != "unsexed"


def test_guarding_twice_changes_nothing() -> None:
    guard_tables(connection)
    test_every_fact_log_and_history_table_is_guarded()
