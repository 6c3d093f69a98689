"""The people of the shared world, in the present, each with a device."""

from datetime import timedelta

import pytest
from django.utils import timezone
from tests.api.client import Api
from tests.plugins.told import Told, a_month_ago
from tests.world import World

from scalewitness.animals.models import Animal


@pytest.fixture
def world(db: None, told_a_month_ago: Told) -> World:
    """As everywhere, but now: the server's clock is the real one. What takes days in a
    story happened in the days before."""
    return told_a_month_ago.again(World, a_month_ago())


def present(world: World) -> World:
    """The story has reached today."""
    world.now = timezone.now() - timedelta(seconds=5)
    return world


@pytest.fixture
def odile(world: World) -> Api:
    return Api(world.odile)


@pytest.fixture
def pim(world: World) -> Api:
    return Api(world.pim)


@pytest.fixture
def greta(world: World) -> Api:
    return Api(world.greta)


@pytest.fixture
def stan(world: World) -> Api:
    return Api(world.stan)


@pytest.fixture
def nobody(db: None) -> Api:
    return Api()


@pytest.fixture
def animal(world: World) -> Animal:
    return world.animal("A-1")
