"""One long story, told once for all tests of this folder; each starts from it afresh."""

from collections.abc import Iterator

import psycopg
import pytest
from django.db import transaction
from django.test import override_settings
from pytest_django import DjangoDbBlocker
from tests.everything import EARLIER, say_everything
from tests.plugins.environment import SERVICES
from tests.plugins.own_database import own_copy
from tests.world import START, World

from scalewitness.ledger.services.signing import sign_checkpoint
from stack.postgres import APP, OWNER


def weigh(world: World, times: int) -> None:
    """A batch of notes, so that the log fills a tile, and so that something can go without
    anything else resting on it."""
    animal = world.animal(f"P{times}")
    body = {"noted": {"type": "weight", "grams": "512"}}
    world.push(world.odile, *(world.item("husbandry_noted", animal.pk, body) for _ in range(times)))


@pytest.fixture(scope="module")
def story(untouched_database: str, django_db_blocker: DjangoDbBlocker) -> Iterator[World]:
    earlier = override_settings(LOG_RETIRED_KEYS=[str(EARLIER.verifier)])
    with own_copy(untouched_database, django_db_blocker), transaction.atomic(), earlier:
        with override_settings(LOG_SIGNING_KEY=EARLIER.secret()):
            sign_checkpoint(START)
        world = World()
        weigh(world, 130)
        say_everything(world)
        weigh(world, 3)
        sign_checkpoint(world.now)
        world.animal("Z1")
        yield world
        transaction.set_rollback(True)


@pytest.fixture
def db(story: World, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """In place of pytest-django's own, whose rollback would end the story as well."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield
        transaction.set_rollback(True)


@pytest.fixture
def told(db: None, story: World) -> World:
    return story


@pytest.fixture(scope="session")
def trigger_free() -> None:
    """Let the session of the tests do what a superuser can: run with every trigger off."""
    if SERVICES.superuser_url is None:
        pytest.skip("DATABASE_URL names a server whose superuser is not ours")
    with psycopg.connect(SERVICES.superuser_url, autocommit=True) as session:
        session.execute(f"GRANT SET ON PARAMETER session_replication_role TO {OWNER}")
        session.execute(f"GRANT {APP} TO {OWNER}")


@pytest.fixture(scope="module")
def superuser(story: World, trigger_free: None) -> None:
    """The same, with the story told."""
