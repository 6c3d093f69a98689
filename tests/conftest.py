"""What every test may ask for."""

import pytest
from tests.plugins.own_database import migrated_database, own_database
from tests.plugins.services import django_db_modify_db_settings, services
from tests.world import World

__all__ = ["django_db_modify_db_settings", "migrated_database", "own_database", "services"]


@pytest.fixture
def world(db: None) -> World:
    """A keeper's collection with people around it; see `tests.world`."""
    return World()


@pytest.fixture
def lasting_world(own_database: None) -> World:
    """As `world`, where transactions are real: what is committed stays until the test ends."""
    return World()
