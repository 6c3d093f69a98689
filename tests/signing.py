"""A keeper's device with a key, and facts said from it."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID, uuid4

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from tests.world import World, probing

from scalewitness.animals.models import Animal
from scalewitness.intake.batch import Actor
from scalewitness.intake.outcomes import Outcome
from scalewitness.intake.services import accept
from scalewitness.ledger.models import Entry
from scalewitness.people.models import Device, Keeper
from scalewitness.people.services import enrol_device
from scalewitness_cli.devicekey import DeviceKey

Item = dict[str, Any]


@dataclass
class Phone:
    """One device; ``key`` is its own whether enrolled or not."""

    world: World
    device: Device
    token: str
    key: DeviceKey

    @property
    def actor(self) -> Actor:
        return Actor(keeper=self.device.keeper_id, device=self.device.pk)

    def push(self, *items: Item) -> list[Outcome]:
        return accept(list(items), self.actor, self.world.now)

    def send(self, item: Item) -> Outcome:
        return self.push(item)[0]

    def enrolment(self, **body: str) -> Item:
        """The fact that enrols the key, signed with it."""
        said = {"device": str(self.device.pk), "key": self.key.public} | body
        item = self.world.item("device_key_enrolled", self.device.keeper_id, said)
        return self.key.signed(item)

    def revocation(self) -> Item:
        said = {"device": str(self.device.pk)}
        return self.world.item("device_revoked", self.device.keeper_id, said)


def phone(world: World, keeper: Keeper, *, enrolled: bool = True, name: str = "phone") -> Phone:
    device, token = enrol_device(keeper, name, world.now)
    key = DeviceKey(Ed25519PrivateKey.generate(), keeper=str(keeper.pk), device=str(device.pk))
    made = Phone(world, device, token, key)
    if enrolled:
        assert made.send(made.enrolment()).status == "accepted"
    return made


@dataclass
class Paper:
    """A recovery key, and what its keeper states with it."""

    world: World
    keeper: Keeper
    key: DeviceKey

    @property
    def id(self) -> UUID:
        return UUID(self.key.device)

    @property
    def enrolment(self) -> Item:
        said = {"device": self.key.device, "key": self.key.public, "recovery": True}
        return self.key.signed(self.world.item("device_key_enrolled", self.keeper.pk, said))

    def endorsed(self, by: Phone) -> Item:
        said = {"device": self.key.device, "key": self.key.public}
        return by.key.signed(self.world.item("device_key_endorsed", self.keeper.pk, said))

    def states(self, kind: str, **body: Any) -> Outcome:
        return self.send(self.key.signed(self.world.item(kind, self.keeper.pk, body)))

    def send(self, item: Item) -> Outcome:
        actor = Actor(keeper=self.keeper.pk, device=self.id)
        return accept([item], actor, self.world.now)[0]


def paper(world: World, keeper: Keeper, endorsed_by: Phone | None = None) -> Paper:
    key = DeviceKey(Ed25519PrivateKey.generate(), keeper=str(keeper.pk), device=str(uuid4()))
    made = Paper(world, keeper, key)
    if endorsed_by is not None:
        assert made.send(made.enrolment).status == "accepted"
        assert endorsed_by.send(made.endorsed(endorsed_by)).status == "accepted"
    return made


def call(one: Phone, animal: Animal, sex: str = "male", **more: Any) -> Item:
    """A call signed on the device, and not sent yet."""
    body = probing(sex) | more.pop("body", {})
    return one.key.signed(one.world.item("call_made", animal.pk, body, **more))


def rule(one: Phone, **body: bool) -> Item:
    """The fact that the keeper rules, signed."""
    return one.key.signed(one.world.item("signatures_required", one.device.keeper_id, body))


def endorsing(one: Phone, other: Phone, **body: str) -> Item:
    said = {"device": str(other.device.pk), "key": other.key.public} | body
    return one.key.signed(one.world.item("device_key_endorsed", one.device.keeper_id, said))


def notice_of(world: World, keeper: Keeper) -> Item:
    """That all the keeper's devices are lost, as a page sends it."""
    return world.item("signing_notice_given", keeper.pk, {})


def stop(one: Phone, notice: Item) -> Item:
    said = {"notice": notice["id"]}
    return one.key.signed(one.world.item("signing_notice_stopped", one.device.keeper_id, said))


def entry_of(item: Item) -> Entry:
    return Entry.objects.get(fact=item["id"])


def code(outcome: Outcome) -> str:
    """The stable code of a refusal."""
    assert outcome.status == "refused"
    assert outcome.problem is not None
    return str(outcome.problem["code"])
