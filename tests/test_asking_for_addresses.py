"""Whether an address has an account can be asked by those who know it, not for a list."""

from typing import Any

import pytest
from django.core.cache import cache
from tests.api.client import Api
from tests.pages.browser import Browser
from tests.pages.signing import SigningBrowser
from tests.world import World, new_id

from scalewitness.pages.guards import throttling

NOBODY = "nobody@keepers.example"


@pytest.fixture(autouse=True)
def nothing_counted() -> None:
    cache.clear()


@pytest.mark.parametrize(
    ("path", "typed"),
    [
        ("grants/new", {"email": NOBODY, "role": "partner"}),
        ("visits/new", {"email": NOBODY}),
        ("sales/new", {"buyer_email": NOBODY}),
    ],
)
def test_forms_that_tell_of_an_address_are_slowed(
    world: World, path: str, typed: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(throttling, "MOST", 5)  # each is a page that is made
    world.animal("A")
    browser = Browser(world.odile)
    if path == "grants/new":
        browser.again()
    where = f"/collections/{world.collection.pk}/{path}"
    statuses = [browser.client.post(where, typed).status_code for _ in range(6)]
    assert set(statuses[:-1]) == {422}
    assert statuses[-1] == 429
    assert browser.open(where).status == 200, "reading goes on"
    other = Browser(world.greta)
    assert other.client.post(where, typed).status_code in {302, 404}, "and so do others"


def test_vouching_is_slowed_and_asking_what_to_sign_counts(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What would be signed names the account by its id, and leaves nothing on record."""
    monkeypatch.setattr(throttling, "MOST", 5)
    browser = SigningBrowser(world.odile).enrol()
    typed = {"email": world.greta.email, "vouches": "yes", "practice": ""}
    form = browser.open("/account/vouching").form()
    statuses = [browser.ask(form, **typed).status_code for _ in range(6)]
    assert set(statuses[:-1]) == {200}
    assert statuses[-1] == 204
    assert browser.client.post(form.action, form.values | typed).status_code == 429


def draft(world: World) -> dict[str, Any]:
    buyer = {"name": "Bela Novak", "email": NOBODY}
    return {
        "id": str(new_id()), "collection": str(world.collection.pk), "animals": [], "buyer": buyer,
    }  # fmt: skip


@pytest.mark.usefixtures("one_minute")
def test_drafts_of_sales_are_slowed_as_asking_is(world: World) -> None:
    """A draft shows its seller whether the buyer's address has an account."""
    odile = Api(world.odile)
    codes = [odile.post("/sales", draft(world)).code for _ in range(throttling.MOST + 1)]
    assert set(codes[:-1]) == {"wrong_shape"}
    assert codes[-1] == "throttled"
