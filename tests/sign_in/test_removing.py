"""A second factor that is lost for good, and one whose keeper leaves."""

from io import StringIO

import pytest
from allauth.mfa.models import Authenticator
from django.core.management import CommandError, call_command
from django.utils import timezone
from tests.second_factors import app_of
from tests.world import World

from scalewitness.intake.erasure import close_account
from scalewitness.mail.models import Letter

pytestmark = pytest.mark.django_db


def test_the_operator_removes_it_and_its_keeper_is_told(world: World) -> None:
    app_of(world.odile)
    app_of(world.stan)
    out = StringIO()
    call_command("remove_second_factor", world.odile.email.upper(), stdout=out)
    assert "told by letter" in out.getvalue()
    assert not Authenticator.objects.filter(user=world.odile).exists()
    assert Authenticator.objects.filter(user=world.stan).count() == 2
    (letter,) = Letter.objects.all()
    assert (letter.to, letter.context["event"]) == (world.odile.email, "removed_by_operator")


def test_nothing_is_said_of_who_has_none(world: World) -> None:
    for email in (world.odile.email, "nobody@keepers.example"):
        with pytest.raises(CommandError):
            call_command("remove_second_factor", email)
    assert not Letter.objects.exists()


def test_a_keeper_who_leaves_leaves_no_second_factor_behind(world: World) -> None:
    app_of(world.stan)
    close_account(world.stan, timezone.now())
    assert not Authenticator.objects.filter(user=world.stan).exists()
