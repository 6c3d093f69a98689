"""Who plays in the measurements. Django is set up before this is imported."""

import os
import secrets
import time
from uuid import UUID

from scalewitness.domain.ids import uuid7
from scalewitness.people.models import Keeper
from scalewitness.people.services import sign_up, vouch


def keeper(name: str) -> Keeper:
    """Signed up, with an address that is vouched for."""
    email = f"{name.lower().replace(' ', '.')}@keepers.example"
    made = sign_up(name=name, email=email, password=secrets.token_hex(16))
    vouch(email)
    return made


def fresh_id() -> UUID:
    return uuid7(time.time_ns() // 1_000_000, os.urandom(10))
