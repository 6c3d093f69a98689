"""All devices of a keeper are lost, and only what they sign counts: the way out by notice."""

from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from allauth.account.models import EmailAddress
from tests.signing import Item, Phone, code, notice_of, phone, rule, stop
from tests.world import World, probing

from scalewitness.animals.models import Animal
from scalewitness.intake.batch import Actor
from scalewitness.intake.devices import revoke_device
from scalewitness.intake.outcomes import Outcome
from scalewitness.intake.services import accept
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.people.models import DeviceKeyEnd
from scalewitness.people.queries.own_word import is_own, ruled

pytestmark = pytest.mark.django_db


@pytest.fixture
def odile(world: World) -> Phone:
    world.animal("A1")
    made = phone(world, world.odile)
    assert made.send(rule(made, wait=True)).status == "accepted"
    return made


def on_a_page(world: World, item: Item, **more: Any) -> Outcome:
    """Sent by whoever is signed in there and gave the password again."""
    actor = Actor(keeper=world.odile.pk, proved=True, **more)
    return accept([item], actor, world.now)[0]


def given(world: World) -> Item:
    item = notice_of(world, world.odile)
    assert on_a_page(world, item).status == "accepted"
    return item


def called(world: World) -> Outcome:
    """A call on a page, of the keeper's one animal."""
    return on_a_page(world, world.item("call_made", Animal.objects.get().pk, probing("male")))


def told(kind: str) -> list[Letter]:
    return list(Letter.objects.filter(kind=kind).order_by("to"))


def test_until_the_fourteenth_day_nothing_unsigned_counts_and_from_then_on_all(
    world: World, odile: Phone
) -> None:
    given(world)
    assert code(called(world)) == "signature_required"
    world.now += timedelta(days=14) - timedelta(microseconds=1)
    assert code(called(world)) == "signature_required"
    world.now += timedelta(microseconds=1)
    assert called(world).status == "accepted"
    assert ruled(world.odile.pk, world.now) == (False, False, None, None)


def test_an_insider_with_the_password_is_stopped_by_the_keepers_device(
    world: World, odile: Phone
) -> None:
    item = given(world)
    world.pass_time(days=13)
    assert odile.send(stop(odile, item)).status == "accepted"
    world.pass_time(days=30)
    assert code(called(world)) == "signature_required"
    again = given(world)
    assert odile.send(stop(odile, again)).status == "accepted", "as often as it takes"
    assert len(told("signing_notice_given")) == len(told("signing_notice_stopped")) == 2


def test_a_device_slipped_in_by_password_neither_stops_nor_gives_notice(
    world: World, odile: Phone
) -> None:
    strange = phone(world, world.odile, name="strange")
    assert code(strange.send(notice_of(world, world.odile))) == "not_allowed"
    item = given(world)
    assert code(strange.send(stop(strange, item))) == "not_allowed"
    assert ruled(world.odile.pk, world.now).notice is not None


def test_only_who_proved_to_be_the_keeper_on_a_page_gives_notice(
    world: World, odile: Phone
) -> None:
    item = notice_of(world, world.odile)
    assert code(odile.send(item)) == "not_allowed"
    assert code(odile.send(odile.key.signed(item))) == "bad_signature"
    unproved = Actor(keeper=world.odile.pk)
    assert code(accept([item], unproved, world.now)[0]) == "not_allowed"
    assert code(on_a_page(world, item, device=odile.device.pk)) == "not_allowed"
    of_another = notice_of(world, world.stan)
    assert code(on_a_page(world, of_another)) == "not_found"
    assert ruled(world.odile.pk, world.now).notice is None


def test_a_second_notice_changes_nothing(world: World, odile: Phone) -> None:
    given(world)
    ends = ruled(world.odile.pk, world.now).ends
    world.pass_time(days=5)
    assert code(on_a_page(world, notice_of(world, world.odile))) == "not_now"
    assert ruled(world.odile.pk, world.now).ends == ends
    assert len(told("signing_notice_given")) == 1


def test_there_is_nothing_to_give_notice_of_without_the_rule(world: World, odile: Phone) -> None:
    assert odile.send(rule(odile, required=False)).status == "accepted"
    assert code(on_a_page(world, notice_of(world, world.odile))) == "not_now"


def test_a_notice_is_stopped_by_its_name_unsigned_by_nobody_and_not_too_late(
    world: World, odile: Phone
) -> None:
    item = given(world)
    plain = {name: value for name, value in stop(odile, item).items() if name != "sig"}
    assert code(on_a_page(world, plain)) == "signature_required"
    another = {**item, "id": world.item("signing_notice_given", world.odile.pk, {})["id"]}
    assert code(odile.send(stop(odile, another))) == "not_now"
    world.pass_time(days=14)
    assert code(odile.send(stop(odile, item))) == "not_now"


def test_a_rule_stated_after_it_outlives_a_notice(world: World, odile: Phone) -> None:
    given(world)
    assert odile.send(rule(odile)).status == "accepted", "no longer with a wait"
    world.pass_time(days=20)
    assert code(called(world)) == "signature_required"


def test_letters_go_to_every_confirmed_address_and_to_no_other(world: World, odile: Phone) -> None:
    for name, verified in (("second", True), ("claimed", False)):
        EmailAddress.objects.create(
            user=world.odile, email=f"{name}@keepers.example", verified=verified
        )
    item = given(world)
    to = sorted([world.odile.email, "second@keepers.example"])
    letters = told("signing_notice_given")
    assert [one.to for one in letters] == to
    ends = (world.now + timedelta(days=14)).isoformat()
    assert {one.context["ends"] for one in letters} == {ends}
    odile.send(stop(odile, item))
    assert [one.to for one in told("signing_notice_stopped")] == to


def test_afterwards_lost_keys_end_on_a_page_and_a_new_device_rules_again(
    world: World, odile: Phone
) -> None:
    given(world)
    world.pass_time(days=14)
    page = Actor(keeper=world.odile.pk)
    revoke_device(world.odile, odile.device.pk, page, world.now)
    assert DeviceKeyEnd.objects.get().key_id == odile.device.pk
    new = phone(world, world.odile, name="new")
    assert new.send(rule(new)).status == "accepted"
    assert is_own(new.device.pk)
    assert code(called(world)) == "signature_required"


def test_the_letter_begins_with_the_news_and_its_day_in_the_keepers_zone(
    world: World, odile: Phone
) -> None:
    world.odile.time_zone = "Pacific/Kiritimati"
    world.odile.save()
    given(world)
    (letter,) = told("signing_notice_given")
    ends = (world.now + timedelta(days=14)).astimezone(ZoneInfo("Pacific/Kiritimati"))
    message = compose(letter)
    assert message.subject.startswith("All your devices are said to be lost")
    assert f"{ends.day} {ends:%B %Y}, {ends:%H:%M}" in message.subject
    assert "require-signatures --stop-notice" in str(message.body)
