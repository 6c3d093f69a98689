"""Whoever has not proved their address enters nothing in the log under that name."""

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.utils import timezone
from tests.signing import Phone, phone
from tests.world import World, keeper, new_id

from scalewitness.domain.errors import AddressUnconfirmed
from scalewitness.intake.batch import Actor
from scalewitness.intake.devices import sign_out_everywhere
from scalewitness.intake.records import take_edit
from scalewitness.intake.services import accept, accept_one
from scalewitness.ledger.models import Entry
from scalewitness.people.models import Device, DeviceKey, Keeper
from scalewitness.people.services import enrol_device, vouch
from scalewitness_cli.devicekey import DeviceKey as Key


@pytest.fixture
def una(db: None) -> Keeper:
    """Signed up, with an address that nobody has proved."""
    return keeper("Una Proven", verified=False)


def unproven(world: World, una: Keeper) -> Phone:
    """Una's phone, with a key that is not enrolled."""
    device, token = enrol_device(una, "phone", world.now)
    private = Ed25519PrivateKey.generate()
    return Phone(world, device, token, Key(private, keeper=str(una.pk), device=str(device.pk)))


def test_a_batch_is_refused_whole_and_never_item_by_item(world: World, una: Keeper) -> None:
    before = Entry.objects.count()
    item = world.item("call_made", world.animal("A").pk, {})
    with pytest.raises(AddressUnconfirmed):
        accept([item, {"not": "even a fact"}], Actor(keeper=una.pk), world.now)
    with pytest.raises(AddressUnconfirmed):
        accept([], Actor(keeper=una.pk), world.now)
    assert not Entry.objects.filter(by=una.pk).exists()
    assert Entry.objects.count() == before + 2, "the animal alone"


def test_a_device_enrols_no_key_before_the_address_is_proved(world: World, una: Keeper) -> None:
    one = unproven(world, una)
    enrolment = one.enrolment()
    with pytest.raises(AddressUnconfirmed):
        one.send(enrolment)
    assert not DeviceKey.objects.exists()
    vouch(una.email)
    assert one.send(enrolment).status == "accepted", "the very same, once it is proved"


def test_an_edit_of_a_record_is_refused_whole_too(world: World, una: Keeper) -> None:
    sent = {"id": str(new_id()), "record": "keepers/me", "base_version": 1}
    with pytest.raises(AddressUnconfirmed):
        take_edit({**sent, "fields": {"name": "Odile Marten"}}, una.pk, world.now)
    una.refresh_from_db()
    assert una.name == "Una Proven"


def test_another_address_proved_does_not_prove_the_first(world: World, una: Keeper) -> None:
    una.emailaddress_set.create(email="una.too@keepers.example", verified=True)
    with pytest.raises(AddressUnconfirmed):
        accept([], Actor(keeper=una.pk), world.now)


def test_a_key_from_earlier_days_can_still_be_ended(world: World) -> None:
    """Facts from before the rule stay their author's; so does leave to end a key."""
    one = phone(world, world.stan)
    world.stan.emailaddress_set.update(verified=False)
    sign_out_everywhere(world.stan, timezone.now())
    assert Entry.objects.get(kind="device_revoked").by == world.stan.pk
    assert Device.objects.get(pk=one.device.pk).token is None


def test_a_buyer_by_their_link_needs_no_account(world: World) -> None:
    sale = world.draft(world.animal("A"))
    world.offer(sale)
    item = world.item("offer_declined", sale.pk, {})
    assert accept_one(item, world.buyer(sale), world.now).status == "accepted"
