"""What was typed on a page in the name of a keeper whose word takes a signature: a file of it, for
a device of theirs to sign and send (`scalewitness send FILE`)."""

import json
import os
from base64 import b64encode
from collections.abc import Iterable, Mapping
from typing import Any
from uuid import UUID

from django.conf import settings

from scalewitness.domain.errors import SignatureRequired
from scalewitness.domain.translog.commitment import SALT_BYTES
from scalewitness.intake.outcomes import Outcome

Item = Mapping[str, Any]
PHOTO = "photo_attached"
"""Its picture does not come along; it is to be taken on the phone."""


def wants_signature(outcome: Outcome) -> bool:
    """Whether it was refused for want of a signature."""
    return outcome.problem is not None and outcome.problem["code"] == SignatureRequired.code


def file_to_sign(items: Iterable[Item], keeper: UUID) -> str | None:
    """The file as a link's address; None where there is nothing that a device could send."""
    facts = [_salted(one) for one in items if one["kind"] != PHOTO]
    if not facts:
        return None
    content = {
        "scalewitness": "unsent-1",
        "server": settings.PUBLIC_URL,
        "keeper": str(keeper),
        "items": facts,
    }
    return f"data:application/json;base64,{b64encode(json.dumps(content).encode()).decode()}"


def _salted(item: Item) -> Item:
    texts = {
        name: {"text": text, "salt": os.urandom(SALT_BYTES).hex()}
        for name, text in item.get("texts", {}).items()
    }
    return {**item, "texts": texts}
