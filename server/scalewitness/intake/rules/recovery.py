"""A recovery key, printed by its keeper: how it comes in, and the letters that tell of it."""

from typing import Final, cast
from uuid import UUID

from scalewitness.domain.errors import BadSignature, NotFound, NotNow, OutOfRange
from scalewitness.domain.facts import DeviceKeyEnrolled
from scalewitness.intake.batch import Batch
from scalewitness.intake.submission import Sealed
from scalewitness.letters import accounts as account_letters
from scalewitness.people.models import Device
from scalewitness.people.queries import device_of, holder_of, is_device
from scalewitness.people.queries.own_word import has_own
from scalewitness.people.services import keys

NAME: Final = "recovery key"


def enrol(fact: Sealed, batch: Batch) -> int:
    """Made in its keeper's browser or command, and worth nothing before one of their devices
    endorses it. The fact is signed with the key it names, which intake has checked."""
    body, keeper = cast(DeviceKeyEnrolled, fact.body), batch.actor.keeper
    if keeper is None or fact.about != keeper or UUID(body.device) != batch.actor.device:
        raise NotFound()
    if fact.sig is None:
        raise BadSignature("Sign this with the key it enrols.", pointer="/sig")
    if is_device(UUID(body.device)):
        raise OutOfRange("This id stands for a device already.", pointer="/body/device")
    if holder_of(body.key) is not None:
        raise OutOfRange("This key is enrolled already.", pointer="/body/key")
    if not has_own(keeper):
        raise NotNow("One of your devices must endorse it, and none of yours can: sign in on one.")
    logged = batch.log(fact)
    keys.store_recovery_key(logged, NAME)
    return logged.position


def tell(fact: Sealed, batch: Batch, *, endorsed: Device | None = None) -> None:
    """By letter: that a recovery key counts from now on, or that one was used."""
    by = device_of(batch.actor.keeper, batch.actor.device)
    if by is None or not hasattr(by, "key"):
        return
    if by.key.recovery:
        account_letters.recovery_key_used(by.keeper, fact.kind, batch.now)
    if endorsed is not None and endorsed.key.recovery:
        account_letters.recovery_key_counts(by.keeper, batch.now)
