"""What every test may ask for."""

import pytest
from tests.plugins.services import django_db_modify_db_settings, services
from tests.world import World

__all__ = ["django_db_modify_db_settings", "services"]


@pytest.fixture
def world(db: None) -> World:
    """A keeper's collection with people around it; see `tests.world`."""
    return World()
