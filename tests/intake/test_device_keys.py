"""Device keys: enrolled by their holder, ended by their keeper."""

from typing import Any

import pytest
from django.db import DatabaseError, transaction
from tests.signing import Item, Phone, code, phone
from tests.world import World, probing

from scalewitness.animals.models import Animal
from scalewitness.domain.errors import AddressUnconfirmed
from scalewitness.intake.erasure import close_account
from scalewitness.ledger.models import Entry
from scalewitness.people.models import DeviceKey

pytestmark = pytest.mark.django_db


@pytest.fixture
def odile(world: World) -> Phone:
    return phone(world, world.odile)


def call(one: Phone, animal: Animal, sex: str = "male", **more: Any) -> Item:
    """A call signed on the device, and not sent yet."""
    body = probing(sex) | more.pop("body", {})
    return one.key.signed(one.world.item("call_made", animal.pk, body, **more))


def test_an_enrolment_proves_possession(world: World) -> None:
    one, other = (phone(world, world.odile, enrolled=False) for _ in range(2))
    said = {"device": str(one.device.pk), "key": one.key.public}
    bare = world.item("device_key_enrolled", world.odile.pk, said)
    assert code(one.send(bare)) == "bad_signature"
    other.key.device = one.key.device
    assert code(one.send(other.key.signed(bare))) == "bad_signature"
    assert not DeviceKey.objects.exists()


def test_a_device_has_one_key_and_a_key_one_device(world: World, odile: Phone) -> None:
    assert code(odile.send(odile.enrolment())) == "not_now"
    tablet = phone(world, world.odile, enrolled=False)
    tablet.key._private = odile.key._private
    assert code(tablet.send(tablet.enrolment())) == "out_of_range"
    assert DeviceKey.objects.count() == 1


def test_a_key_is_enrolled_for_oneself_on_the_device_itself(world: World, odile: Phone) -> None:
    mine, stans = (
        phone(world, world.odile, enrolled=False),
        phone(world, world.stan, enrolled=False),
    )
    assert code(mine.send(mine.enrolment(device=str(stans.device.pk)))) == "not_found"
    tablet = phone(world, world.odile, enrolled=False)
    assert code(mine.send(mine.enrolment(device=str(tablet.device.pk)))) == "not_allowed"
    said = {"device": str(mine.device.pk), "key": mine.key.public}
    about = mine.key.signed(world.item("device_key_enrolled", world.stan.pk, said))
    assert code(mine.send(about)) == "not_found"


@pytest.mark.parametrize("key", ["00" * 32, "01" + "00" * 31, "ff" * 32, "ed" + "ff" * 30 + "7f"])
def test_a_key_that_binds_nobody_is_refused(world: World, key: str) -> None:
    one = phone(world, world.odile, enrolled=False)
    outcome = one.send(one.enrolment(key=key))
    assert outcome.problem is not None
    assert (code(outcome), outcome.problem["errors"][0]["pointer"]) == ("out_of_range", "/body/key")


def test_only_its_keeper_revokes_a_device(world: World, odile: Phone) -> None:
    stan = phone(world, world.stan)
    said = {"device": str(odile.device.pk)}
    for about in (world.odile.pk, world.stan.pk):
        assert code(stan.send(world.item("device_revoked", about, said))) == "not_found"
    keyless = phone(world, world.odile, enrolled=False)
    assert code(odile.send(keyless.revocation())) == "not_now"
    tablet = phone(world, world.odile, name="tablet")
    assert tablet.send(odile.revocation()).status == "accepted"
    assert code(tablet.send(odile.revocation())) == "not_now"
    odile.device.refresh_from_db()
    assert (odile.device.token, odile.device.revoked_at) == (None, world.now)


def test_a_closed_account_signs_nothing_more(world: World, odile: Phone) -> None:
    item = call(odile, world.animal("A1"))
    for _ in range(2):
        close_account(world.odile, world.now)
    assert Entry.objects.filter(kind="device_revoked").count() == 1
    with pytest.raises(AddressUnconfirmed):  # with the address its proof went
        odile.send(item)


def test_keys_and_their_ends_are_append_only(world: World, odile: Phone) -> None:
    for change in (
        lambda: DeviceKey.objects.update(public="00" * 32),
        lambda: DeviceKey.objects.all().delete(),
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            change()
