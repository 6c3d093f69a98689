"""What the accounts of earlier days become: tokens get an end, a proved address comes first."""

from importlib import import_module

from allauth.account.models import EmailAddress
from django.apps import apps
from django.db import connection
from django.utils import timezone
from knox.models import AuthToken
from tests.pages.browser import Browser
from tests.world import World

from scalewitness.people.services import enrol_device

moved = import_module("scalewitness.people.migrations.0008_tokens_end_and_first_addresses")


class Editor:
    connection = connection


def test_a_token_without_an_end_gets_one(world: World) -> None:
    enrol_device(world.odile, "phone", world.now)
    AuthToken.objects.update(expiry=None)
    moved.end_when_idle(apps, Editor)
    assert AuthToken.objects.get().expiry > timezone.now()


def test_who_has_proved_no_address_is_signed_out_of_every_browser(world: World) -> None:
    """Else somebody signed in since earlier days could go on as before, on pages alone."""
    EmailAddress.objects.filter(user=world.stan).update(verified=False)
    browsers = [Browser(world.stan), Browser(world.odile)]
    moved.pages_are_for_confirmed_addresses(apps, Editor)
    assert [one.open("/account").status for one in browsers] == [302, 200]


def test_an_account_goes_by_the_address_its_keeper_proved(world: World) -> None:
    """Else it would go by somebody else's, who could never have an account of their own."""
    EmailAddress.objects.filter(user=world.stan).update(verified=False)
    EmailAddress.objects.create(user=world.stan, email="own@keepers.example", verified=True)
    moved.proved_addresses_first(apps, Editor)
    world.stan.refresh_from_db()
    assert world.stan.email == "own@keepers.example"
    assert EmailAddress.objects.get(user=world.stan, primary=True).email == world.stan.email
    world.odile.refresh_from_db()
    assert world.odile.email == "odile.marten@keepers.example"
