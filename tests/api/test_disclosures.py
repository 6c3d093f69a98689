"""Notices owed to someone who relied on a verified sex that no longer stands."""

from uuid import UUID

import pytest
from django.utils import timezone
from tests.api.client import Api, fact
from tests.api.conftest import present
from tests.api.test_offers import NOTHING_SEEN
from tests.plugins.told_once import told_once
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.disclosures.models import Disclosure
from scalewitness.domain.cautions import AFTER_A_DISCLOSURE
from scalewitness.mail.models import Letter
from scalewitness.mail.services.links import link_token
from scalewitness.sales.models import Sale

pytestmark = pytest.mark.one_in(4)


@told_once
def sold(world: World) -> Sale:
    """A verified male, sold to Stan, who has an account; then a contrary call."""
    animal = world.verified("V-1")
    sale = world.sold(animal, email=world.stan.email)
    present(world)
    guest = world.visit(world.greta, animal)
    world.call(world.greta, animal, "female", visit=guest)
    return sale


@told_once
def owed(sold: Sale) -> Disclosure:
    return Disclosure.objects.get(sale=sold)


def way_in() -> str:
    letter = Letter.objects.get(kind="disclosure")
    return f"/offers/{link_token(UUID(letter.context['link']))}"


def test_the_seller_sees_what_is_owed_and_whether_it_arrived(odile: Api, owed: Disclosure) -> None:
    (listed,) = odile.get("/disclosures").body["items"]
    shown = odile.get(f"/disclosures/{owed.pk}").body
    assert listed == shown
    assert (shown["change"], shown["to"]) == ("fell", "Bela Novak")
    assert (shown["was"]["label"], shown["now"]["label"]) == ("verified male", "contested")
    assert (shown["remedy"], shown["recheck_days"]) == ("refund", 14)
    assert shown["cause"]["kind"] == "call_made"
    assert shown["advice"] == list(AFTER_A_DISCLOSURE)
    (letter,) = shown["letters"]
    assert (letter["kind"], letter["state"]) == ("disclosure", "waiting")
    Letter.objects.update(state="failed", last_error="SMTPRecipientsRefused: no such mailbox")
    (letter,) = odile.get(f"/disclosures/{owed.pk}").body["letters"]
    assert (letter["state"], letter["problem"]) == (
        "failed",
        "SMTPRecipientsRefused: no such mailbox",
    )


def test_the_sale_shows_its_letters(odile: Api, sold: Sale, owed: Disclosure) -> None:
    kinds = {one["kind"] for one in odile.get(f"/sales/{sold.pk}").body["letters"]}
    assert {"offer", "disclosure"} <= kinds


def test_a_buyer_with_an_account_sees_and_acknowledges(
    odile: Api, stan: Api, owed: Disclosure
) -> None:
    (shown,) = stan.get("/disclosures").body["items"]
    assert (shown["id"], shown["letters"]) == (str(owed.pk), [])
    assert (shown["seller_email"], shown["animal"]["name"]) == (
        "odile.marten@keepers.example",
        None,
    )
    path = f"/disclosures/{owed.pk}"
    assert stan.post(f"{path}/acknowledgement", fact()).status == 201
    assert odile.get(path).body["acknowledged_at"] is not None
    again = stan.post(f"{path}/acknowledgement", fact())
    assert (again.status, again.code) == (409, "not_now")


def test_the_seller_cannot_acknowledge_for_the_buyer(odile: Api, owed: Disclosure) -> None:
    answer = odile.post(f"/disclosures/{owed.pk}/acknowledgement", fact())
    assert (answer.status, answer.code) == (404, "not_found")


def test_it_is_nobody_elses(greta: Api, owed: Disclosure) -> None:
    assert greta.get("/disclosures").body["items"] == []
    path = f"/disclosures/{owed.pk}"
    assert greta.get(path).body == greta.get(f"/disclosures/{new_id()}").body
    assert greta.post(f"{path}/acknowledgement", fact()).code == "not_found"


def test_a_buyer_reads_and_acknowledges_by_link(nobody: Api, odile: Api, owed: Disclosure) -> None:
    answer = nobody.get(f"{way_in()}/disclosure")
    (shown,) = answer.body["items"]
    assert (shown["id"], shown["acknowledged_at"]) == (str(owed.pk), None)
    assert answer.headers["Cache-Control"] == "private, no-store"
    assert nobody.post(f"{way_in()}/acknowledgement", fact()).status == 201
    assert odile.get(f"/disclosures/{owed.pk}").body["acknowledged_at"] is not None


def test_an_acknowledgement_said_twice_is_one(nobody: Api, owed: Disclosure) -> None:
    sent = fact()
    path = f"{way_in()}/acknowledgement"
    assert [nobody.post(path, sent).status for _ in range(2)] == [201, 200]
    nothing_left = nobody.post(path, fact())
    assert (nothing_left.status, nothing_left.code) == (409, "not_now")


def test_one_may_be_named(nobody: Api, owed: Disclosure) -> None:
    path = f"{way_in()}/acknowledgement"
    assert nobody.post(path, fact(disclosure=str(new_id()))).code == "not_found"
    assert nobody.post(path, fact(disclosure="none")).code == "wrong_shape"
    assert nobody.post(path, fact(disclosure=str(owed.pk))).status == 201


def test_a_link_to_a_disclosure_shows_what_was_bought_and_answers_no_offer(
    nobody: Api, owed: Disclosure
) -> None:
    assert nobody.get(way_in()).body["state"] == "paid"
    assert (
        nobody.post(f"{way_in()}/confirmation", fact(seen=1, shown=NOTHING_SEEN)).code
        == "link_gone"
    )
    assert nobody.post(f"{way_in()}/refusal", fact()).code == "link_gone"


def test_a_sale_before_payment_is_held_and_nothing_is_owed(world: World, odile: Api) -> None:
    animal: Animal = world.verified("V-1")
    sale = world.draft(animal)
    world.offer(sale)
    world.now = timezone.now()
    world.call(world.odile, animal, "female")
    assert odile.get("/disclosures").body["items"] == []
    assert odile.get(f"/sales/{sale.pk}").body["held"] == ["standing_fell"]
