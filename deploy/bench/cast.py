"""Who plays in the measurements. Django is set up before this is imported."""

import os
import secrets
import time
from typing import Any
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


def probing(sex: str, code: str) -> dict[str, Any]:
    """The body of a call that probing made plain, of an animal known by its tag."""
    depth = {"male": "9", "female": "3"}[sex]
    passes = [{"side": side, "depth": depth, "stopped": "resistance"} for side in ("left", "right")]
    return {
        "conclusion": sex,
        "sureness": "certain",
        "observed": {"method": "probing", "passes": passes},
        "identified": {"by": "tag", "code": code},
        "held_by": "second_person",
    }


def fresh_id() -> UUID:
    return uuid7(time.time_ns() // 1_000_000, os.urandom(10))
