"""What is written beside the facts, broken as in `test_faults`: every statement of it lost once,
and its commit done but not told. Said again it leaves what one undisturbed saying leaves."""

from base64 import b64decode
from collections.abc import Callable
from uuid import UUID

import pytest
from django.db import OperationalError
from tests.breaking import answer_lost, lost_after, stored
from tests.ledger.setting_back import signed_now
from tests.pictures import body_of, plain_file
from tests.signing import phone
from tests.witnessing import cosigned
from tests.world import World, new_id

from scalewitness.animals.models import Photo
from scalewitness.domain.translog.keys import read_verifier
from scalewitness.domain.translog.notes import read_line
from scalewitness.intake.batch import Actor
from scalewitness.intake.devices import revoke_device
from scalewitness.intake.erasure import close_account, erase_own_texts
from scalewitness.intake.records import take_edit
from scalewitness.intake.rules.photos import take_photo_file
from scalewitness.ledger.models import Fence
from scalewitness.ledger.services.adopting import adopt
from scalewitness.ledger.services.cosigning import take_from_keeper
from scalewitness.ledger.services.fencing import raise_fence
from scalewitness.ledger.services.outside import read_outside
from scalewitness.ledger.services.signing import sign_checkpoint

Act = Callable[[], object]


def a_cosignature(world: World) -> Act:
    """With the key it registers."""
    said = cosigned(sign_checkpoint(world.now), at=round(world.now.timestamp()))
    key, line = read_verifier(said["key"]), read_line(said["cosignature"])
    root = b64decode(said["root"])
    return lambda: take_from_keeper(world.odile.pk, key, line, said["size"], root, world.now)


def a_fence(world: World) -> Act:
    return lambda: raise_fence("a drill", world.now)


def an_adoption(world: World) -> Act:
    world.animal("E0")
    note = signed_now()
    raise_fence("restored", world.now)

    def lift() -> None:
        if Fence.objects.latest("pk").state == Fence.State.RAISED:
            adopt([read_outside(note.encode())], world.now)

    return lift


def an_erased_text(world: World) -> Act:
    animal = world.animal("E1")
    noted = {"noted": {"type": "health", "sign": "ill"}}
    said = world.say(world.odile, "husbandry_noted", animal.pk, noted, texts={"note": "wheezes"})
    return lambda: erase_own_texts(UUID(said.id), Actor(keeper=world.odile.pk), world.now)


def a_closed_account(world: World) -> Act:
    """With a signing device, texts and a photo."""
    animal = world.animal("E2")
    visit = world.visit(world.greta, animal)
    call = world.call(world.greta, animal, "male", visit=visit, texts={"note": "calm"})
    phone(world, world.greta)
    photo = world.say(world.greta, "photo_attached", animal.pk, body_of(plain_file(), call.id))
    take_photo_file(UUID(photo.id), plain_file(), Actor(keeper=world.greta.pk), world.now)
    return lambda: close_account(world.greta, world.now, texts=True)


def an_edit(world: World) -> Act:
    animal = world.animal("E3")
    item = {
        "id": str(new_id(world.now)),
        "record": f"animals/{animal.pk}",
        "base_version": 1,
        "fields": {"rack": "B2", "name": "Marl"},
    }
    return lambda: take_edit(item, world.odile.pk, world.now)


def a_signing_device_revoked(world: World) -> Act:
    """Said anew each time, so it is the keeper's page pressed twice."""
    lost = phone(world, world.odile)
    actor = Actor(keeper=world.odile.pk)
    return lambda: revoke_device(world.odile, lost.device.pk, actor, world.now)


def another_device_revoked(world: World) -> Act:
    lost = phone(world, world.odile, enrolled=False)
    actor = Actor(keeper=world.odile.pk)
    return lambda: revoke_device(world.odile, lost.device.pk, actor, world.now)


def a_photos_file(world: World) -> Act:
    animal = world.animal("E4")
    said = world.say(world.odile, "photo_attached", animal.pk, body_of(plain_file()))
    photo = Photo.objects.get(pk=said.id).pk
    actor = Actor(keeper=world.odile.pk)
    return lambda: take_photo_file(photo, plain_file(), actor, world.now)


WRITES = (
    a_cosignature, a_fence, an_adoption, an_erased_text, a_closed_account, an_edit,
    a_signing_device_revoked, another_device_revoked, a_photos_file,
)  # fmt: skip


@pytest.mark.parametrize("write", WRITES)
@pytest.mark.some(2)
def test_failed_and_not_stored(lasting_world: World, write: Callable[[World], Act]) -> None:
    act = write(lasting_world)
    before, statements = stored(), 0
    while True:
        try:
            with lost_after(statements) as through:
                act()
        except OperationalError:
            assert stored() == before, f"left behind after {through[-1:]}"
            statements += 1
            continue
        break
    assert statements > 0  # the gate was in the way
    after = stored()
    assert after != before
    act()
    assert stored() == after


@pytest.mark.parametrize("write", WRITES)
@pytest.mark.some(5)
def test_failed_but_stored(
    lasting_world: World, monkeypatch: pytest.MonkeyPatch, write: Callable[[World], Act]
) -> None:
    act = write(lasting_world)
    before = stored()
    with answer_lost(monkeypatch, 1):
        try:
            act()
        except OperationalError:
            act()
    after = stored()
    assert after != before
    act()
    assert stored() == after
