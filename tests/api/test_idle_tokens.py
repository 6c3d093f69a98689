"""A token ends when nobody uses it for long."""

from datetime import timedelta

from django.conf import settings
from django.utils import timezone
from tests.api.client import Api
from tests.signing import phone
from tests.world import World

from scalewitness.intake.devices import end_devices, sign_out_everywhere
from scalewitness.ledger.models import Entry, Fence
from scalewitness.ledger.services.fencing import raise_fence
from scalewitness.people.models import Device, DeviceKeyEnd

IDLE = settings.REST_KNOX["TOKEN_TTL"]


def last_used(device: Device, ago: timedelta) -> None:
    token = Device.objects.get(pk=device.pk).token
    assert token is not None
    token.expiry = timezone.now() - ago + IDLE
    token.save()


def days_left(device: Device) -> int:
    token = Device.objects.get(pk=device.pk).token
    assert token is not None
    return (token.expiry - timezone.now() + timedelta(minutes=1)).days


def test_a_token_nobody_used_for_half_a_year_opens_nothing(odile: Api) -> None:
    last_used(odile.device, IDLE + timedelta(seconds=1))
    answer = odile.get("/animals")
    assert (answer.status, answer.code) == (401, "authentication_failed")


def test_a_token_in_use_does_not_end_and_is_written_once_a_day(odile: Api) -> None:
    last_used(odile.device, IDLE - timedelta(days=3))
    assert odile.get("/animals").status == 200
    assert days_left(odile.device) == IDLE.days
    last_used(odile.device, timedelta(hours=20))
    assert odile.get("/animals").status == 200
    assert days_left(odile.device) == IDLE.days - 1


def test_an_idle_device_is_shown_as_signed_out_and_its_key_ends(world: World, odile: Api) -> None:
    one = phone(world, world.odile, name="old phone")
    for device in (one.device, odile.device):
        last_used(device, IDLE + timedelta(days=1))
    laptop = Api(world.odile, "laptop")
    for ended in (2, 0):
        assert end_devices(timezone.now()) == ended
    shown = {one["name"]: one["revoked_at"] for one in laptop.get("/devices").body["items"]}
    assert shown["laptop"] is None
    assert shown["phone"]
    assert shown["old phone"]
    assert Entry.objects.get(kind="device_revoked").by == world.odile.pk


def test_the_end_of_a_key_is_said_when_the_log_takes_facts_again(world: World) -> None:
    one = phone(world, world.odile)
    raise_fence("restored", timezone.now())
    sign_out_everywhere(world.odile, timezone.now())
    assert end_devices(timezone.now()) == 1
    assert not DeviceKeyEnd.objects.exists()
    raised = Fence.objects.get()
    Fence.objects.create(
        state="lifted", reason="found again", size=raised.size, root=raised.root, at=timezone.now()
    )
    end_devices(timezone.now())
    assert DeviceKeyEnd.objects.get().key_id == one.device.pk
    assert end_devices(timezone.now()) == 0
