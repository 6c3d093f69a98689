"""A recovery key on paper: with it a keeper whose devices are all lost is in again at once."""

from uuid import uuid4

import pytest
from allauth.account.models import EmailAddress
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from tests.signing import Paper, Phone, call, code, endorsing, paper, phone, rule
from tests.world import World, probing

from scalewitness.animals.models import Animal
from scalewitness.domain.errors import NotAllowed
from scalewitness.intake.batch import Actor
from scalewitness.intake.devices import revoke_device, sign_out_everywhere
from scalewitness.intake.services import accept
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.people.models import Device
from scalewitness.people.models import DeviceKey as Key
from scalewitness.people.queries.own_word import by_password_only, is_own
from scalewitness_cli.devicekey import DeviceKey

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]


@pytest.fixture
def odile(world: World) -> Phone:
    """Her phone, on which she ruled."""
    world.animal("A1")
    made = phone(world, world.odile)
    assert made.send(rule(made, wait=True)).status == "accepted"
    return made


@pytest.fixture
def printed(world: World, odile: Phone) -> Paper:
    """Her sheet; her phone is lost, and signed out by whoever has her password."""
    made = paper(world, world.odile, endorsed_by=odile)
    sign_out_everywhere(world.odile, world.now)
    return made


def on_a_page(world: World) -> str:
    """What becomes of an unsigned call in her name."""
    item = world.item("call_made", Animal.objects.get().pk, probing("male"))
    (outcome,) = accept([item], Actor(keeper=world.odile.pk), world.now)
    return code(outcome) if outcome.status == "refused" else outcome.status


def told(kind: str) -> list[Letter]:
    return list(Letter.objects.filter(kind=kind).order_by("to"))


def test_it_lifts_the_rule_at_once(world: World, printed: Paper) -> None:
    assert on_a_page(world) == "signature_required"
    assert printed.states("signatures_required", required=False).status == "accepted"
    assert on_a_page(world) == "accepted"


def test_it_endorses_a_new_device_at_once_which_then_is_the_keepers_own_word(
    world: World, printed: Paper
) -> None:
    new, animal = phone(world, world.odile, name="new"), Animal.objects.get()
    assert code(new.send(call(new, animal))) == "key_waits"
    body = {"device": str(new.device.pk), "key": new.key.public}
    assert printed.states("device_key_endorsed", **body).status == "accepted"
    assert new.send(call(new, animal)).status == "accepted"
    assert on_a_page(world) == "signature_required", "the rule holds on"
    assert new.send(rule(new, required=False)).status == "accepted"


def test_it_revokes_what_is_lost(world: World, odile: Phone) -> None:
    printed = paper(world, world.odile, endorsed_by=odile)
    assert printed.states("device_revoked", device=str(odile.device.pk)).status == "accepted"
    assert not is_own(odile.device.pk)
    assert code(odile.send(call(odile, Animal.objects.get()))) == "bad_signature"


def test_it_signs_nothing_else(world: World, printed: Paper, odile: Phone) -> None:
    animal = Animal.objects.get()
    assert code(printed.states("signatures_required")) == "not_allowed"
    assert code(printed.states("signing_notice_stopped", notice=str(uuid4()))) == "not_allowed"
    item = printed.key.signed(world.item("call_made", animal.pk, probing("male")))
    assert code(printed.send(item)) == "not_allowed"


def test_it_counts_for_nothing_before_a_device_endorses_it(world: World, odile: Phone) -> None:
    """Whoever knows the password can have one enrolled, and no more."""
    strange, tablet = paper(world, world.odile), phone(world, world.odile, name="tablet")
    assert strange.send(strange.enrolment).status == "accepted"
    assert by_password_only([strange.id]) == {strange.id}
    for kind, body in (
        ("signatures_required", {"required": False}),
        ("device_revoked", {"device": str(odile.device.pk)}),
        ("device_key_endorsed", {"device": str(tablet.device.pk), "key": tablet.key.public}),
    ):
        assert code(strange.states(kind, **body)) == "not_allowed"
    assert code(tablet.send(strange.endorsed(tablet))) == "not_allowed"
    assert not told("recovery_key_counts")
    assert not told("recovery_key_used")


def test_whoever_knows_the_password_cannot_take_the_sheets_worth(
    world: World, odile: Phone
) -> None:
    printed, strange = paper(world, world.odile, odile), phone(world, world.odile, name="strange")
    with pytest.raises(NotAllowed):
        revoke_device(world.odile, printed.id, Actor(keeper=world.odile.pk), world.now)
    for device in (printed.id, odile.device.pk):
        said = world.item("device_revoked", world.odile.pk, {"device": str(device)})
        assert code(strange.send(strange.key.signed(said))) == "not_allowed"
    assert strange.send(strange.key.signed(strange.revocation())).status == "accepted"
    assert printed.states("signatures_required", required=False).status == "accepted"


def test_a_lost_sheet_is_worth_nothing_once_a_device_says_so(world: World, odile: Phone) -> None:
    printed = paper(world, world.odile, endorsed_by=odile)
    said = world.item("device_revoked", world.odile.pk, {"device": printed.key.device})
    assert odile.send(odile.key.signed(said)).status == "accepted"
    assert code(printed.states("signatures_required", required=False)) == "bad_signature"


def test_without_the_rule_a_page_ends_it(world: World) -> None:
    made = phone(world, world.odile)
    printed = paper(world, world.odile, endorsed_by=made)
    revoke_device(world.odile, printed.id, Actor(keeper=world.odile.pk), world.now)
    assert not is_own(printed.id)


def test_it_is_enrolled_by_its_keeper_under_an_id_of_its_own(world: World, odile: Phone) -> None:
    sheet = paper(world, world.odile)
    unsigned = {**sheet.enrolment, "sig": None}
    assert code(sheet.send(unsigned)) == "signature_required"
    others = phone(world, world.stan)
    for taken in (odile.device, others.device):
        key = DeviceKey(Ed25519PrivateKey.generate(), keeper=str(world.odile.pk),
            device=str(taken.pk))  # fmt: skip
        clash = Paper(world, world.odile, key)
        assert clash.send(clash.enrolment).status == "refused"
    again = {**odile.enrolment(), "body": odile.enrolment()["body"] | {"recovery": True}}
    assert odile.send(odile.key.signed(again)).status == "refused"
    assert Key.objects.filter(recovery=True).count() == 0
    assert not Device.objects.filter(name="recovery key").exists()


def test_there_is_none_where_no_device_could_endorse_it(world: World) -> None:
    sheet = paper(world, world.odile)
    assert code(sheet.send(sheet.enrolment)) == "not_now"


def test_letters_tell_of_it_at_every_confirmed_address(world: World, odile: Phone) -> None:
    EmailAddress.objects.create(user=world.odile, email="second@keepers.example", verified=True)
    to = sorted([world.odile.email, "second@keepers.example"])
    printed = paper(world, world.odile, endorsed_by=odile)
    assert [one.to for one in told("recovery_key_counts")] == to
    printed.states("signatures_required", required=False)
    used = told("recovery_key_used")
    assert [one.to for one in used] == to
    message = compose(used[0])
    assert "nothing has to be signed any more" in message.subject
    assert "lift your rule" in str(message.body)


def test_a_new_device_needs_endorsing_by_name_and_key(world: World, printed: Paper) -> None:
    new, other = (phone(world, world.odile, name=name) for name in ("new", "other"))
    body = endorsing(new, other)["body"] | {"key": new.key.public}
    assert code(printed.states("device_key_endorsed", **body)) == "out_of_range"
