"""A record for `fsck.py` to check, made through the intake; Django is set up before this is
imported."""

import secrets
from collections.abc import Iterator
from itertools import count, islice
from typing import Any
from uuid import UUID

from cast import fresh_id, keeper
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.utils import timezone

from scalewitness.animals.models import Collection
from scalewitness.animals.services import create_collection
from scalewitness.domain.moments import rfc3339
from scalewitness.intake.batch import Actor
from scalewitness.intake.closing import close_books
from scalewitness.intake.services import accept
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.services.signing import sign_checkpoint
from scalewitness.people.models import Keeper
from scalewitness.people.services import enrol_device
from scalewitness_cli.devicekey import DeviceKey

HERD = 500
BATCH = 500
NOTE = "calm while held, tail straight, both passes glided to the same depth and came back clean"


def grow(entries: int) -> None:
    """Collections of 500 animals each, until the log has so many entries; signed, its books
    closed. Of each animal: a transponder, a weight, two checks by its keeper with notes, of every
    second collection signed on a device, and one by a partner."""
    for number in count(Collection.objects.count()):
        if tip().size >= entries:
            break
        herd = Herd(number)
        herd.fill()
    close_books(timezone.now())
    sign_checkpoint(timezone.now())


class Herd:
    def __init__(self, number: int) -> None:
        self.now = timezone.now()
        self.number = number
        self.owner, self.partner = keeper(f"Wilma {number}"), keeper(f"Ilse {number}")
        self.room = create_collection(self.owner, fresh_id(), "The long room", self.now).pk
        self.device: UUID | None = None
        self.key: DeviceKey | None = None

    def fill(self) -> None:
        if self.number % 2:
            self._enrol()
        body: dict[str, Any] = {"to": str(self.partner.pk), "role": "partner"}
        self._take(self.owner, iter([self._item("grant_given", self.room, body)]))
        animals = [fresh_id() for _ in range(HERD)]
        self._take(self.owner, self._registered(animals))
        for depth in ("8", "8.5"):
            self._take(self.owner, self._checked(animals, depth), sign=True)
        self._take(self.partner, self._checked(animals, "9"))

    def _enrol(self) -> None:
        made, _ = enrol_device(self.owner, "Phone", self.now)
        self.device, private = made.pk, Ed25519PrivateKey.generate()
        self.key = DeviceKey(private, keeper=str(self.owner.pk), device=str(made.pk))
        body = {"device": str(made.pk), "key": self.key.public}
        self._take(
            self.owner, iter([self._item("device_key_enrolled", self.owner.pk, body)]), sign=True
        )

    def _registered(self, animals: list[UUID]) -> Iterator[dict[str, Any]]:
        for nth, animal in enumerate(animals):
            body = {"collection": str(self.room), "species": "python_regius"}
            yield self._item("animal_registered", animal, body)
            chip = {"scheme": "transponder", "code": self._code(nth)}
            yield self._item("identifier_assigned", animal, chip)
            weighed = {"noted": {"type": "weight", "grams": str(90 + nth % 40)}}
            yield self._item("husbandry_noted", animal, weighed)

    def _checked(self, animals: list[UUID], depth: str) -> Iterator[dict[str, Any]]:
        passes = [
            {"side": side, "depth": depth, "stopped": "resistance"} for side in ("left", "right")
        ]
        for nth, animal in enumerate(animals):
            body = {
                "conclusion": "male",
                "held_by": "examiner",
                "identified": {"by": "transponder", "code": self._code(nth)},
                "observed": {"method": "probing", "passes": passes},
                "sureness": "certain",
            }
            yield self._item("call_made", animal, body, texts={"note": NOTE})

    def _code(self, nth: int) -> str:
        return f"276{self.number * HERD + nth:012d}"

    def _item(self, kind: str, about: UUID, body: dict[str, Any], **more: Any) -> dict[str, Any]:
        sent = {"id": str(fresh_id()), "kind": kind, "at": rfc3339(self.now), "about": str(about)}
        return {**sent, "body": body, **more}

    def _take(self, who: Keeper, items: Iterator[dict[str, Any]], sign: bool = False) -> None:
        signs = self.key if sign else None
        actor = Actor(keeper=who.pk, device=self.device if signs else None)
        while some := list(islice(items, BATCH)):
            sent = [signs.signed(one, None) if signs else _salted(one) for one in some]
            for outcome in accept(sent, actor, self.now):
                if outcome.status != "accepted":
                    raise RuntimeError(f"refused: {outcome}")


def _salted(item: dict[str, Any]) -> dict[str, Any]:
    texts = item.pop("texts", {})
    salted = {name: {"text": text, "salt": secrets.token_hex(32)} for name, text in texts.items()}
    return item | ({"texts": salted} if salted else {})
