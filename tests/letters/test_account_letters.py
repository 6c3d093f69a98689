"""Letters about one's own account: to whom, by which name, and what they lead to."""

from datetime import timedelta
from typing import Any

import pytest
from allauth.account.models import EmailAddress
from tests.world import START, World, keeper

from scalewitness.letters import accounts
from scalewitness.mail.models import Letter
from scalewitness.mail.services import queueing as mail
from scalewitness.people.models import Device
from scalewitness.people.services import enrol_device

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("name", "called"),
    [
        ("Odile Marten", "Odile Marten"),  # before "a keeper…", as letters are ordered
        ("Élise", "Élise"),
        ("zoë", "zoë"),  # and after it
        ("a keeper without a name yet", "keeper"),
    ],
)
def test_by_which_name_a_letter_calls_its_reader(world: World, name: str, called: str) -> None:
    world.odile.name = name
    accounts.address_added(world.odile, START)
    letter = Letter.objects.get()
    assert letter.context == {
        "to_name": called,
        "at": START.isoformat(),
        "sign_out": str(world.odile.pk),
    }


def device(world: World) -> Device:
    return enrol_device(world.odile, "Rack phone", START)[0]


ACT: list[tuple[str, Any, dict[str, Any]]] = [
    ("device_added", lambda w: accounts.device_added(w.odile, device(w), START),
     {"device": "Rack phone"}),
    ("browser_signs", lambda w: accounts.browser_signs(w.odile, device(w), START),
     {"device": "Rack phone"}),
    ("key_enrolled", lambda w: accounts.key_enrolled(w.odile, device(w), None, START),
     {"device": "Rack phone", "until": None}),
    ("signing_notice_given", lambda w: accounts.signing_notice_given(w.odile, START, START),
     {"ends": START.isoformat()}),
    ("signing_notice_stopped", lambda w: accounts.signing_notice_stopped(w.odile, START), {}),
    ("recovery_key_counts", lambda w: accounts.recovery_key_counts(w.odile, START), {}),
    ("recovery_key_used", lambda w: accounts.recovery_key_used(w.odile, "device_revoked", START),
     {"fact": "device_revoked"}),
    ("password_changed", lambda w: accounts.password_changed(w.odile, START, kept=True,
     by_letter=False), {"kept": True, "by_letter": False}),
    ("password_changed", lambda w: accounts.password_changed(w.odile, START, kept=False,
     by_letter=True), {"kept": False, "by_letter": True}),
    ("address_added", lambda w: accounts.address_added(w.odile, START), {}),
    ("signing_in_moved", lambda w: accounts.signing_in_moved(w.odile, "old@keepers.example", START),
     {}),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "act", "about"), ACT)
def test_what_is_told_of_an_account(
    world: World, kind: str, act: Any, about: dict[str, Any]
) -> None:
    act(world)
    letter = Letter.objects.get()
    assert (letter.kind, letter.recipient, letter.cause) == (kind, world.odile.pk, letter.pk)
    assert letter.to == ("old@keepers.example" if kind == "signing_in_moved" else world.odile.email)
    assert letter.created_at == letter.next_try_at == START
    assert letter.context == about | {
        "to_name": "Odile Marten",
        "at": START.isoformat(),
        "sign_out": str(world.odile.pk),
    }


def test_an_address_not_confirmed_hears_of_no_device(world: World) -> None:
    squatter = keeper("Nobody Yet", verified=False)
    accounts.device_added(squatter, enrol_device(squatter, "phone", START)[0], START)
    assert not Letter.objects.exists()


def test_a_letter_leaves_when_what_it_is_about_is_kept(
    world: World, django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks() as after:
        accounts.address_added(world.odile, START)
    assert after == [mail.wake]


def claimed(world: World) -> list[tuple[str, Any, dict[str, Any]]]:
    email = world.odile.email
    address = EmailAddress.objects.get(email=email)
    reset = {"reset": str(world.odile.pk)}
    return [
        ("confirm_address", lambda: accounts.confirm_address(address, START),
         {"confirm": address.pk}),
        ("account_exists", lambda: accounts.account_exists(world.odile, email, START), reset),
        ("reset_password", lambda: accounts.reset_password(world.odile, email, START), reset),
        ("no_account", lambda: accounts.no_account(email, START), {}),
    ]  # fmt: skip


def test_what_anybody_may_claim_is_said_to_a_reader_and_five_times_an_hour(world: World) -> None:
    for kind, act, leads_to in claimed(world):
        for _ in range(6):
            act()
        letters = Letter.objects.filter(kind=kind)
        assert letters.count() == 5, kind
        assert {one.to for one in letters} == {world.odile.email}
        assert all(one.context == {"to_name": "reader"} | leads_to for one in letters)
        recipients = {one.recipient for one in letters}
        assert len(recipients) == 1
        assert (recipients == {world.odile.pk}) == (kind != "no_account")
    accounts.no_account("other@keepers.example", START)
    accounts.no_account("other@keepers.example", START + timedelta(hours=1))
    both = Letter.objects.filter(kind="no_account", to="other@keepers.example")
    assert len({one.recipient for one in both}) == 1, "one nobody for each address"
    assert Letter.objects.filter(kind="no_account").count() == 7
