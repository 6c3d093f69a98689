"""The second factor where it is taken: kinds, repeats, what rests in the database."""

from datetime import timedelta

import pytest
from allauth.mfa.models import Authenticator
from django.core.cache import cache
from django.db import connection
from django.utils import timezone
from tests.second_factors import SECRET, WRONG, app_of
from tests.world import World

from scalewitness import guessing
from scalewitness.domain.errors import (
    SecondFactorMissing,
    SecondFactorRequired,
    SecondFactorWrong,
    TooManyAttempts,
)
from scalewitness.mail.models import Letter
from scalewitness.sign_in.queries import has_second_factor, kinds_of
from scalewitness.sign_in.services.codes import admit, take_code
from scalewitness.sign_in.services.sealing import seal, unseal

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def nothing_counted() -> None:
    cache.clear()


def test_a_keeper_without_one_is_let_in_by_the_password(world: World) -> None:
    assert kinds_of(world.odile.pk) == []
    admit(world.odile, None, timezone.now())
    admit(world.odile, "anything", timezone.now())


def test_a_keeper_with_one_is_told_which_kinds_there_are(world: World) -> None:
    app_of(world.odile)
    with pytest.raises(SecondFactorRequired) as refused:
        admit(world.odile, None, timezone.now())
    assert refused.value.as_problem()["kinds"] == ["totp", "recovery_code"]
    with pytest.raises(SecondFactorRequired):
        admit(world.odile, "", timezone.now())
    admit(world.stan, None, timezone.now())


def test_a_code_counts_once_on_every_way(world: World) -> None:
    app = app_of(world.odile)
    code, now = app.code(), timezone.now()
    admit(world.odile, code, now)
    for later in (0, 30, 59):
        with pytest.raises(SecondFactorWrong):
            take_code(world.odile, code, now + timedelta(seconds=later))


def test_somebody_elses_code_is_wrong(world: World) -> None:
    app_of(world.odile)
    stans = app_of(world.stan)
    row = stans.row
    row.data["secret"] = seal("JBSWY3DPEHPK3PXPJBSWY3DPEHPK3PXP")
    row.save()
    with pytest.raises(SecondFactorWrong):
        take_code(world.stan, stans.code(), timezone.now())


def test_a_recovery_code_counts_once_and_its_owner_is_told(world: World) -> None:
    app = app_of(world.odile)
    take_code(world.odile, app.recovery[3], timezone.now())
    with pytest.raises(SecondFactorWrong):
        take_code(world.odile, app.recovery[3], timezone.now())
    take_code(world.odile, app.recovery[4], timezone.now())
    told = Letter.objects.filter(kind="second_factor", recipient=world.odile.pk)
    assert [one.context["event"] for one in told] == ["code_used"] * 2
    assert app.recovery[3] not in str(told.values())


def test_a_wrong_code_changes_nothing(world: World) -> None:
    app = app_of(world.odile)
    with pytest.raises(SecondFactorWrong):
        take_code(world.odile, WRONG, timezone.now())
    assert "used" not in app.row.data
    assert not Letter.objects.exists()


def test_fifty_wrong_codes_a_day_and_the_keeper_is_told_that_the_password_is_known(
    world: World,
) -> None:
    app, now = app_of(world.odile), timezone.now()
    take_code(world.odile, app.code(), now)
    for _ in range(50):
        with pytest.raises(SecondFactorWrong):
            take_code(world.odile, WRONG, now)
    for _ in range(3):
        with pytest.raises(TooManyAttempts):
            take_code(world.odile, app.code(), now)
    (letter,) = Letter.objects.filter(kind="second_factor")
    assert letter.context["event"] == "codes_guessed"
    guessing.start_anew(world.odile.email, "192.0.2.1")  # a new password by a letter
    take_code(world.odile, app.code(), now)


def test_recovery_codes_alone_are_no_second_factor(world: World) -> None:
    app_of(world.odile).row.delete()
    assert Authenticator.objects.filter(user=world.odile, type="recovery_codes").exists()
    assert not has_second_factor(world.odile.pk)
    assert kinds_of(world.odile.pk) == []


def test_where_the_operator_asks_for_one_nobody_is_let_in_without(
    world: World, settings: object
) -> None:
    settings.SECOND_FACTOR = "required"
    with pytest.raises(SecondFactorMissing):
        admit(world.odile, None, timezone.now())
    app = app_of(world.odile)
    admit(world.odile, app.code(), timezone.now())


def test_no_secret_can_be_read_from_a_copy_of_the_database(world: World) -> None:
    app = app_of(world.odile)
    with connection.cursor() as cursor:
        cursor.execute("SELECT string_agg(data::text, ' ') FROM mfa_authenticator")
        (rests,) = cursor.fetchone()
    assert SECRET not in rests
    assert not [one for one in app.recovery if one in rests]
    assert all("seed" not in one.data or len(one.data["seed"]) > 100
               for one in Authenticator.objects.all())  # fmt: skip


def test_what_is_used_is_sealed_anew_so_that_an_earlier_key_can_be_let_go(
    world: World, settings: object
) -> None:
    app = app_of(world.odile)
    settings.SECRET_KEY, earlier = "another-key-" * 6, settings.SECRET_KEY
    settings.SECRET_KEY_FALLBACKS = [earlier]
    take_code(world.odile, app.code(), timezone.now())
    take_code(world.odile, app.recovery[0], timezone.now())
    settings.SECRET_KEY_FALLBACKS = []
    take_code(world.odile, app.code(), timezone.now())
    take_code(world.odile, app.recovery[1], timezone.now())
    settings.SECRET_KEY = "a key that was put in without the one before" * 2
    with pytest.raises(SecondFactorWrong):
        take_code(world.odile, app.code(), timezone.now())


def test_what_was_sealed_opens_under_an_earlier_key_too(settings: object) -> None:
    sealed = seal("a secret")
    settings.SECRET_KEY, earlier = "another-key-" * 6, settings.SECRET_KEY
    settings.SECRET_KEY_FALLBACKS = [earlier]
    assert unseal(sealed) == "a secret"
    assert unseal(seal("anew")) == "anew"
