"""Whose an account is: of who reads the letters to its address, whoever made it."""

import re

import pytest
from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from django.core.cache import cache
from tests.api.client import Api
from tests.pages.browser import Browser, Page
from tests.pages.conftest import Here
from tests.signing import phone
from tests.world import PASSWORD, World, keeper, new_id

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.services import create_collection
from scalewitness.ledger.models import Entry
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.people.models import UNNAMED, Device, Keeper
from scalewitness.people.queries import account_of, has_verified_address, names_of
from scalewitness.people.services import vouch

pytestmark = pytest.mark.one_in(6)

ADDRESS = "owner@keepers.example"
CHEATS, OWN = "squat-the-room-5", "nine-calm-coils"


@pytest.fixture(autouse=True)
def nothing_counted() -> None:
    cache.clear()


def letter(kind: str, to: str = ADDRESS) -> str:
    """The text of the newest letter of a kind."""
    return str(compose(Letter.objects.filter(kind=kind, to=to).latest("created_at")).body)


def link(kind: str, to: str = ADDRESS) -> str:
    found = re.search(r"http://testserver(/accounts/\S+)", letter(kind, to))
    assert found is not None
    return found[1]


def token_of(email: str, password: str) -> str:
    sent = {"email": email, "password": password, "name": "phone"}
    return str(Api().post("/devices", sent).body["token"])


def answers(token: str) -> int:
    asked = Api()
    asked.headers["Authorization"] = f"Bearer {token}"
    return asked.get("/keepers/me").status


def squatted() -> str:
    """Somebody makes an account with another's address; their device's token."""
    given = {"name": "The Cheat", "email": ADDRESS, "password": CHEATS}
    assert Api().post("/keepers", given).status == 202
    return token_of(ADDRESS, CHEATS)


def reset(anyone: Browser, where: str, **more: str) -> Page:
    """Set a password by the link in a letter."""
    form = anyone.open(anyone.open(where).goes_to).form()
    return anyone.send(form, password1=OWN, password2=OWN, **more)


# --- an account nobody confirmed ------------------------------------------------------------


def test_who_resets_by_letter_has_the_account_and_nothing_of_the_squatters(
    db: None, anyone: Browser
) -> None:
    stolen = squatted()
    anyone.fill("/accounts/password/reset/", email=ADDRESS)
    assert reset(anyone, link("reset_password"), name="Rosa Vale").status == 302
    assert answers(stolen) == 401
    owner = Keeper.objects.get()
    assert (owner.name, owner.email) == ("Rosa Vale", ADDRESS)
    assert has_verified_address(owner)
    assert not Device.objects.exists(), "not even the name of the squatter's device"
    assert Api().post("/devices", {"email": ADDRESS, "password": CHEATS, "name": "x"}).status == 401
    assert answers(token_of(ADDRESS, OWN)) == 200
    assert "Every device and browser was signed out" in letter("password_changed")


def test_the_owner_who_signs_up_is_led_to_the_same_end(db: None, anyone: Browser) -> None:
    stolen = squatted()
    made = anyone.fill("/accounts/signup/", name="Rosa Vale", email=ADDRESS, password1=OWN)
    assert made.goes_to == "/accounts/confirm-email/"
    reset(anyone, link("account_exists"))
    assert answers(stolen) == 401
    assert Keeper.objects.get().name == UNNAMED, "asked for, not taken from the squatter"


def test_the_letter_alone_does_not_confirm_what_a_squatter_made(db: None, anyone: Browser) -> None:
    """The careless owner opens the link and presses the button; no password, no confirmation."""
    squatted()
    page = anyone.open(link("confirm_address"))
    assert "did not make the account" in page.text
    assert "not the password" in anyone.send(page.form("/"), password=OWN).text
    assert not EmailAddress.objects.get().verified
    written = Letter.objects.filter(to=ADDRESS)
    assert {one.kind for one in written} == {"confirm_address"}, "none of the squatter's device"
    assert "The Cheat" not in letter("confirm_address"), "no letter repeats what was typed"
    assert anyone.send(page.form("/"), password=CHEATS).goes_to == "/accounts/login/"
    assert EmailAddress.objects.get().verified


def test_a_squatters_second_factor_goes_with_them(db: None, anyone: Browser) -> None:
    squatted()
    Authenticator.objects.create(user=Keeper.objects.get(), type="totp", data={"secret": "x"})
    anyone.fill("/accounts/password/reset/", email=ADDRESS)
    reset(anyone, link("reset_password"))
    assert not Authenticator.objects.exists()


def test_confirming_keeps_the_devices_of_who_signed_up(db: None, anyone: Browser) -> None:
    own = squatted()  # nobody's cheat this time: both are the same person
    anyone.send(anyone.open(link("confirm_address")).form("/"), password=CHEATS)
    assert answers(own) == 200
    asked = Api()
    asked.headers["Authorization"] = f"Bearer {own}"
    assert asked.post("/push", {"items": []}).status == 200


def test_a_page_signs_nobody_in_before_the_address_is_confirmed(db: None, anyone: Browser) -> None:
    squatted()
    entered = anyone.fill("/accounts/login/", login=ADDRESS, password=CHEATS)
    assert entered.goes_to == "/accounts/confirm-email/"
    assert anyone.open("/account").status == 302


def test_signing_up_answers_alike_on_the_page(here: Here) -> None:
    answers = []
    for email in (here.odile.email, "somebody.new@keepers.example"):
        made = Browser().fill("/accounts/signup/", name="Rosa Vale", email=email, password1=OWN)
        told = Browser().open(made.goes_to)
        answers.append((made.status, made.goes_to, told.status, told.text))
    assert answers[0] == answers[1]
    here.odile.refresh_from_db()
    assert here.odile.check_password(PASSWORD)


def test_asking_for_a_letter_answers_alike(here: Here) -> None:
    asked = [
        Browser().fill("/accounts/password/reset/", email=email)
        for email in (here.odile.email, "nobody@keepers.example")
    ]
    assert asked[0].goes_to == asked[1].goes_to
    kinds = Letter.objects.order_by("created_at").values_list("kind", flat=True)
    assert list(kinds)[-2:] == ["reset_password", "no_account"]


# --- another's address beside one's own -----------------------------------------------------


def test_an_address_added_and_not_proved_is_nobodys(here: Here, anyone: Browser) -> None:
    """Else a keeper could keep its owner from ever signing up, or be reset by them."""
    EmailAddress.objects.create(user=here.stan, email=ADDRESS, verified=False)
    assert account_of(ADDRESS) is None
    anyone.fill("/accounts/signup/", name="Rosa Vale", email=ADDRESS, password1=OWN)
    anyone.send(anyone.open(link("confirm_address")).form("/"), password=OWN)
    owner = account_of(ADDRESS)
    assert owner is not None
    assert owner.name == "Rosa Vale"


def test_who_proves_an_address_that_another_claims_has_it(here: Here, odile: Browser) -> None:
    stolen = squatted()
    odile.again().client.post("/accounts/email/", {"email": ADDRESS, "action_add": ""})
    odile.send(odile.open(link("confirm_address")).form("/"))
    assert answers(stolen) == 401
    assert account_of(ADDRESS) == here.odile
    assert not Keeper.objects.filter(email=ADDRESS).exists()


# --- an account that was used before addresses had to be confirmed --------------------------


@pytest.fixture
def from_before(here: Here) -> Keeper:
    """It has a collection, an animal and a device with a key, all under an unproved address."""
    made = keeper("Una Before")
    Keeper.objects.filter(pk=made.pk).update(email=ADDRESS)
    EmailAddress.objects.filter(user=made).update(email=ADDRESS)
    made.refresh_from_db()
    here.now_is_now()
    create_collection(made, new_id(), "The cellar", here.now)
    here.animal("U-1", room=Collection.objects.get(keeper=made))
    phone(here, made)
    EmailAddress.objects.filter(user=made).update(verified=False)
    return made


def test_whoever_proves_the_address_of_a_used_account_says_whose_it_was(
    from_before: Keeper, anyone: Browser
) -> None:
    anyone.fill("/accounts/password/reset/", email=ADDRESS)
    page = reset(anyone, link("reset_password"))
    assert page.status == 200
    assert "Was that you?" in page.text
    done = anyone.send(page.form(), password1=OWN, password2=OWN, theirs="yes")
    assert done.status == 302
    same = account_of(ADDRESS)
    assert same == from_before
    assert same.name == "Una Before"
    assert Collection.objects.filter(keeper=same).exists()
    assert Entry.objects.filter(kind="device_revoked", about=same.pk).count() == 1


def test_what_was_not_theirs_stays_its_authors(from_before: Keeper, anyone: Browser) -> None:
    said = list(Entry.objects.filter(by=from_before.pk).values_list("pk", flat=True))
    anyone.fill("/accounts/password/reset/", email=ADDRESS)
    reset(anyone, link("reset_password"), name="Rosa Vale", theirs="no")
    owner = account_of(ADDRESS)
    assert owner is not None
    assert owner != from_before
    assert owner.name == "Rosa Vale"
    assert not Collection.objects.filter(keeper=owner).exists()
    assert not Entry.objects.filter(by=owner.pk).exists()
    assert Entry.objects.filter(pk__in=said, by=from_before.pk).count() == len(said)
    from_before.refresh_from_db()
    assert not from_before.is_active
    assert "erased" in names_of([from_before.pk])[from_before.pk]
    browser = Browser(owner)
    assert "The cellar" not in browser.open("/").text
    assert browser.open(f"/animals/{Animal.objects.get().pk}").status == 404


# --- an account that is confirmed -----------------------------------------------------------


@pytest.mark.parametrize("kept", [True, False])
def test_a_changed_password_ends_devices_unless_they_are_to_stay(
    here: Here, odile: Browser, kept: bool
) -> None:
    stolen, elsewhere = token_of(here.odile.email, PASSWORD), Browser(here.odile)
    form = odile.open("/accounts/password/change/").form()
    keep = {"keep_devices": "on"} if kept else {}
    typed = {"oldpassword": PASSWORD, "password1": OWN, "password2": OWN}
    assert odile.send(form, **typed, **keep).status == 302
    assert answers(stolen) == (200 if kept else 401)
    assert odile.open("/account").status == 200, "who changed it stays signed in"
    assert elsewhere.open("/account").status == 302
    told = letter("password_changed", here.odile.email)
    assert ("Your devices stayed signed in" in told) == kept
    assert "/sign-out/" in told


def test_a_reset_ends_every_device_and_keeps_all_else(here: Here, anyone: Browser) -> None:
    stolen, elsewhere = token_of(here.odile.email, PASSWORD), Browser(here.odile)
    anyone.fill("/accounts/password/reset/", email=here.odile.email)
    where = link("reset_password", here.odile.email)
    assert "name" not in anyone.open(anyone.open(where).goes_to).form().names
    reset(anyone, where)
    assert answers(stolen) == 401
    assert elsewhere.open("/account").status == 302
    here.odile.refresh_from_db()
    assert here.odile.name == "Odile Marten"
    assert Collection.objects.get(keeper=here.odile).name == "The long room"
    assert "no longer works" in anyone.open(where).text, "once"


def test_the_old_address_hears_that_another_is_the_first_now(here: Here, odile: Browser) -> None:
    old = here.odile.email
    other = EmailAddress.objects.create(user=here.odile, email=ADDRESS, verified=True)
    odile.again().client.post("/accounts/email/", {"email": other.email, "action_primary": ""})
    assert "Letters now go there" in letter("signing_in_moved", old)


def test_the_first_address_hears_of_another_beside_it(here: Here, odile: Browser) -> None:
    """From there a new password could be asked for."""
    odile.again().client.post("/accounts/email/", {"email": ADDRESS, "action_add": ""})
    assert not Letter.objects.filter(kind="address_added").exists(), "not before it is proved"
    odile.send(odile.open(link("confirm_address")).form("/"))
    assert "another address was confirmed" in letter("address_added", here.odile.email)


def test_vouching_is_for_the_account_that_goes_by_the_address(here: Here) -> None:
    """Not for whoever added it to theirs."""
    beside = EmailAddress.objects.create(user=here.stan, email=ADDRESS, verified=False)
    assert not vouch(ADDRESS)
    squatted()
    assert vouch(ADDRESS.upper())
    beside.refresh_from_db()
    assert not beside.verified
    assert has_verified_address(Keeper.objects.get(email=ADDRESS))


def test_no_link_rests_in_the_table_of_letters(world: World, anyone: Browser) -> None:
    anyone.fill("/accounts/password/reset/", email=world.odile.email)
    kept = Letter.objects.get(kind="reset_password")
    assert kept.context == {"to_name": "reader", "reset": str(world.odile.pk)}
