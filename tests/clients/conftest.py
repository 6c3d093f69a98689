"""A store of the command, and a device's key."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from tests.world import new_id

from scalewitness_cli.devicekey import DeviceKey
from scalewitness_cli.store import Store


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path, "https://record.example") as made:
        yield made


@pytest.fixture
def key() -> DeviceKey:
    return a_key()


def a_key() -> DeviceKey:
    private = Ed25519PrivateKey.generate()
    return DeviceKey(private, keeper=str(new_id()), device=str(new_id()))
