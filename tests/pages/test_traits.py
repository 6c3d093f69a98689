"""The pages of what is stated of an animal's traits."""

import pytest
from tests.families import family, result_of
from tests.pages.browser import Browser
from tests.pages.conftest import Here
from tests.plugins.told_once import told_once

from scalewitness.animals.models import Animal
from scalewitness.sales.models import Sale
from scalewitness.traits.queries import statements_of

pytestmark = pytest.mark.one_in(6)


@told_once
def snake(here: Here) -> Animal:
    found = here.animal("OS-11")
    here.now_is_now()
    return found


def test_a_keeper_states_one_of_the_sheet_and_takes_it_back(
    here: Here, odile: Browser, snake: Animal
) -> None:
    path = f"/animals/{snake.pk}"
    assert f"{path}/traits" in odile.open(path).links
    sent = odile.fill(
        f"{path}/traits/new", stated="may_carry", trait="albino", basis="claimed", chance="66"
    )
    assert sent.goes_to == f"{path}/traits"
    page = odile.open(sent.goes_to)
    assert "may carry albino (66 % possible het)" in page.text
    assert "Odile Marten, as claimed by whom it came from" in page.text
    assert "may carry albino (66 % possible het)" in odile.open(path).text
    (form,) = [one for one in page.forms if one.says == "trait_withdrawn"]
    odile.client.post(form.action, form.values)
    assert statements_of([snake.pk]) == {}
    assert "Withdrawn" in odile.open(f"{path}/traits").text
    assert "may carry" not in odile.open(path).text


def test_a_trait_in_ones_own_words_is_shown_as_such(odile: Browser, snake: Animal) -> None:
    path = f"/animals/{snake.pk}/traits"
    odile.fill(f"{path}/new", stated="shows", basis="seen", words="a <b>line</b> down its back")
    page = odile.open(path)
    assert "shows “a <b>line</b> down its back”" in page.text
    assert "b" not in {tag for tag, _ in page.tags}


def test_what_is_missing_is_said_beside_its_field(odile: Browser, snake: Animal) -> None:
    path = f"/animals/{snake.pk}/traits/new"
    page = odile.fill(path, stated="carries_one", trait="albino", basis="dna")
    assert page.status == 422
    assert "Name the laboratory." in page.text
    assert odile.fill(path, stated="may_carry", trait="albino", basis="claimed").status == 422


def test_looks_and_alleles_are_offered_by_name(odile: Browser, snake: Animal) -> None:
    html = odile.open(f"/animals/{snake.pk}/traits/new").html
    assert 'value="coral_glow/coral_glow_two"' in html
    assert "nothing is computed" in html


def test_a_blind_guest_finds_no_trait_and_no_form(
    here: Here, odile: Browser, greta: Browser, snake: Animal
) -> None:
    path = f"/animals/{snake.pk}"
    here.visit(here.greta, snake)
    before = greta.open(path)
    odile.fill(f"{path}/traits/new", stated="carries_one", trait="coral_glow/coral_glow",
        basis="parents")  # fmt: skip
    assert greta.open(path).text == before.text
    for page in ("traits", "traits/new"):
        assert greta.open(f"{path}/{page}").status == 404


def claimed(here: Here, snake: Animal) -> tuple[Sale, str]:
    """Offered with what Odile states of it."""
    het = {"locus": "albino", "says": "carries_one", "basis": "parents"}
    claim = str(here.say(here.odile, "trait_stated", snake.pk, het).id)
    return here.draft(snake), claim


def test_a_seller_offers_with_a_claim_and_the_buyer_reads_it(
    here: Here, odile: Browser, anyone: Browser, snake: Animal
) -> None:
    sale, claim = claimed(here, snake)
    path = f"/sales/{sale.pk}/offer"
    assert "carries one copy of albino (100 % het)" in odile.open(path).text
    sent = odile.fill(path, remedy="refund", claims=f"{snake.pk} {claim}")
    assert sent.goes_to == f"/sales/{sale.pk}"
    page = anyone.open(f"/offers/{here.token(sale)}")
    assert "It carries one copy of albino (100 % het), as known from its parents" in page.text
    assert "stated by the seller" in page.text
    here.now_is_now()
    here.say(here.odile, "trait_withdrawn", snake.pk, {"stated": claim})
    assert "(withdrawn)" in anyone.open(f"/offers/{here.token(sale)}").text
    assert "albino" not in odile.open(path).text


def test_whoever_paid_reads_both_versions_of_a_claim(
    here: Here, odile: Browser, anyone: Browser, snake: Animal
) -> None:
    sale, claim = claimed(here, snake)
    offer = here.offer(sale, claims=[{"animal": str(snake.pk), "stated": claim}])
    here.confirm(sale, offer.id or "", offer.position or 0)
    here.say(here.odile, "payment_recorded", sale.pk)
    here.say(here.odile, "trait_withdrawn", snake.pk, {"stated": claim})
    page = anyone.open(f"/offers/{here.token(sale, 'disclosure')}")
    assert "A claimed trait was withdrawn by whoever stated it." in page.text
    assert "carries one copy of albino (100 % het)" in page.text
    assert "Every call behind it" not in page.text
    (owed,) = [link for link in odile.open("/disclosures").links if "/disclosures/" in link]
    shown = odile.open(owed)
    assert "withdrawn by whoever stated it" in shown.text
    assert "If the sex proves wrong" not in shown.text


def test_a_claim_that_fell_is_marked_wherever_it_is_read(here: Here, odile: Browser) -> None:
    here.pass_time(days=-70)  # eggs, and young from them
    known = family(here)
    het = {"locus": "albino", "says": "carries_one", "basis": "claimed"}
    here.say(here.odile, "trait_stated", known.young.pk, het)
    for one in (known.sire, known.dam):
        result_of(here, one, "carries_none")
    here.now_is_now()
    path = f"/animals/{known.young.pk}"
    assert "(it fell)" in " ".join(odile.open(path).text.split())
    assert "It fell: its proved parents speak against it." in " ".join(
        odile.open(f"{path}/traits").text.split()
    )
    assert "fell" not in odile.open(f"/animals/{known.sire.pk}/traits").text


def test_taking_it_back_twice_shows_nothing_of_an_animal_that_one_may_not_see(
    here: Here, greta: Browser
) -> None:
    snake = here.animal("OS-11")
    grant = here.view(here.greta, snake)
    linked = {"locus": "coral_glow", "allele": "coral_glow", "says": "shows", "basis": "seen"}
    own = here.say(here.greta, "trait_stated", snake.pk, linked).id
    here.say(here.odile, "trait_stated", snake.pk, linked)
    here.say(here.odile, "grant_revoked", here.collection.pk, {"grant": str(grant)})
    here.visit(here.greta, snake, days=60)
    here.now_is_now()
    path = f"/traits/{own}/withdrawal"
    for _ in range(2):
        answer = greta.client.post(path, {})
        assert "Odile" not in answer.content.decode()
    assert answer.status_code == 404
