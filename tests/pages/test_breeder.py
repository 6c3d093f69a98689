"""A breeder's day: what waits, collections and counts, animals, records and sales."""

import re

import pytest
from django.test import Client
from tests.pages.browser import Browser
from tests.pages.conftest import Here
from tests.world import new_id

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.services import edit
from scalewitness.ledger.models import Entry
from scalewitness.mail.models import Letter
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import progress_of

pytestmark = pytest.mark.one_in(6)


def new_animal_path(here: Here) -> str:
    return f"/collections/{here.collection.pk}/animals/new"


def test_home_says_what_waits_urgent_first_and_counts_the_animals(
    here: Here, odile: Browser
) -> None:
    males = [here.verified("M-1"), here.verified("M-2")]
    here.call(here.odile, here.animal("F-1"), "female")
    here.animal("U-1")
    here.sold(males[0])
    here.pass_time(days=1)
    here.call(here.stan, males[0], "female", visit=here.visit(here.stan, males[0]))
    here.now_is_now()
    here.offer(here.draft(males[1]))
    here.call(here.stan, males[1], "female", visit=here.visit(here.stan, males[1]))
    page = odile.open("/")
    assert [here.label(one) for one in males] == ["contested", "contested"]
    assert "A dispute is open" in page.text
    assert "A sale is held" in page.text
    assert "Not yet acknowledged by" in page.text
    assert page.text.index("A dispute is open") < page.text.index("Not yet acknowledged")
    count = re.search(r"(\d+) males, (\d+) females?, (\d+) not settled", page.text)
    assert count is not None
    labels = [here.label(one) for one in Animal.objects.all()]
    expected = [
        sum(label.endswith(" male") for label in labels),
        sum(label.endswith(" female") for label in labels),
        sum(label in {"unsexed", "contested"} for label in labels),
    ]
    assert [int(one) for one in count.groups()] == expected
    assert "2 contested" in page.text


def test_a_stranger_to_the_record_is_welcomed(anyone: Browser) -> None:
    page = anyone.open("/")
    assert "Make an account" in page.text
    assert "when not to use it" in anyone.open("/about").text.lower()


def test_a_collection_is_started_once_and_renamed_under_its_version(
    here: Here, stan: Browser
) -> None:
    form = stan.open("/collections/new").form()
    first, second = (stan.send(form, name="Stan's shelf") for _ in range(2))
    assert first.goes_to == second.goes_to
    collection = Collection.objects.get(keeper=here.stan)
    renaming = stan.open(f"/collections/{collection.pk}/name").form()
    edit(collection, {"name": "Shelf"}, version=1, by=here.stan, now=here.now)
    refused = stan.send(renaming, name="Stan's room")
    assert refused.status == 412
    assert "to “Shelf”" in refused.text
    assert stan.send(refused.form(), name="Stan's room").status == 302
    collection.refresh_from_db()
    assert collection.name == "Stan's room"


def test_an_animal_is_registered_with_its_tag_and_name_once(here: Here, odile: Browser) -> None:
    form = odile.open(new_animal_path(here)).form()
    typed = {
        "species": "pantherophis_guttatus",
        "hatched": "2025-08-01",
        "traits": "amel, het motley",
        "name": "Sorrel",
        "scheme": "tag",
        "identifier": "C-07",
    }
    first, second = (odile.send(form, **typed) for _ in range(2))
    animal = Animal.objects.get()
    assert first.goes_to == second.goes_to == f"/animals/{animal.pk}"
    assert animal.traits == ["amel", "het motley"]
    page = odile.open(first.goes_to)
    for said in ("Sorrel", "C-07", "corn snake", "1 August 2025", "het motley", "Unsexed".lower()):
        assert said.lower() in page.text.lower(), said
    assert "Nobody has checked this animal yet" in page.text


def test_a_wrong_transponder_registers_nothing_and_loses_nothing(
    here: Here, odile: Browser
) -> None:
    typed = {
        "species": "python_regius",
        "name": "Sorrel",
        "scheme": "transponder",
        "identifier": "12345",
    }
    refused = odile.fill(new_animal_path(here), **typed)
    assert refused.status == 422
    assert "15 digits" in refused.text
    assert {name: refused.form().values[name] for name in typed} == {
        name: [value] for name, value in typed.items()
    }
    assert not Animal.objects.exists()
    assert not Entry.objects.exclude(kind="founder_named").exists()


def test_an_untouched_form_registers_nothing(here: Here, odile: Browser) -> None:
    page = odile.open(new_animal_path(here))
    assert "What you register stays in the log" in page.text
    assert [given["name"] for _, given in page.tags if "autofocus" in given] == ["species"]
    refused = odile.send(page.form())
    assert refused.status == 422
    assert "Species : This field is required." in refused.text
    assert "Name : Give it a name or a code" in refused.text
    assert next(tag for tag, given in refused.tags if "autofocus" in given) == "div", (
        "what is wrong"
    )
    assert not Animal.objects.exists()
    mended = {"species": "python_regius", "name": "Sorrel", "scheme": "tag"}
    assert odile.send(refused.form(), **mended).status == 302


@pytest.mark.parametrize(
    ("type", "typed", "shown"),
    [
        ("weight", {"grams": "412.5"}, "412.5 g"),
        ("meal", {"taken": "yes", "grams": "30"}, "Last meal"),
        ("shed", {"stage": "opaque"}, "opaque"),
        ("health", {"sign": "under_treatment"}, "under treatment"),
        ("remark", {}, "Something was noted in words"),
    ],
)
def test_husbandry_is_noted(
    here: Here, odile: Browser, type: str, typed: dict[str, str], shown: str
) -> None:
    animal = here.animal("R-01")
    here.now_is_now()
    noted = odile.fill(f"/animals/{animal.pk}/husbandry/{type}", **typed, note="By lamplight")
    page = odile.open(noted.goes_to)
    assert "Accepted at position" in page.text
    assert shown in page.text


def test_the_record_is_edited_under_its_version_and_a_conflict_shows_both_values(
    here: Here, odile: Browser
) -> None:
    animal = here.animal("R-01")
    here.make_partner(here.pim)
    here.now_is_now()
    mine = odile.open(f"/animals/{animal.pk}/record").form()
    pim = Browser(here.pim)
    saved = pim.fill(f"/animals/{animal.pk}/record", name="Sorrel", rack="Shelf 9")
    assert saved.status == 302
    refused = odile.send(mine, name="Saffron", rack="Shelf 9")
    assert refused.status == 412
    assert "Nothing was saved." in refused.text
    assert "Saffron" in refused.text
    assert "Sorrel" in refused.text
    form = refused.form("/record")
    assert form.values["name"] == ["Saffron"], "what was typed is kept"
    assert odile.send(form).status == 302
    animal.refresh_from_db()
    assert (animal.name, animal.rack) == ("Saffron", "Shelf 9")
    history = odile.open(f"/animals/{animal.pk}/history").text
    assert "Sorrel" in history
    assert "Pim Alder" in history


def test_particulars_are_corrected_and_identifiers_added(here: Here, odile: Browser) -> None:
    animal, dam = here.animal("R-01"), here.animal("R-02")
    here.now_is_now()
    odile.fill(
        f"/animals/{animal.pk}/particulars",
        species="boa_imperator",
        dam=str(dam.pk),
        note="Mixed up",
    )
    odile.fill(
        f"/animals/{animal.pk}/identifiers/new", scheme="transponder", code="276 098 100000001"
    )
    page = odile.open(f"/animals/{animal.pk}")
    assert "common boa" in page.text
    assert "276098100000001" in page.text
    assert f"/animals/{dam.pk}" in page.links


def test_the_animal_page_explains_its_probability(here: Here, odile: Browser) -> None:
    animal = here.verified("R-17")
    here.now_is_now()
    page = odile.open(f"/animals/{animal.pk}")
    for said in (
        "Of animals with such a record about",
        "Trusting every call less",
        "Guest R-17",
        "Taken alone it speaks strongly for a male",
        "Checked without knowing any earlier answer",
        "our judgement",
        "Barker and Barker 2006",
        "as claimed, received",
    ):
        assert said in page.text, said
    assert page.html.count('class="call') >= 3


def test_an_objection_stands_beside_the_call(here: Here, odile: Browser) -> None:
    animal = here.verified("R-17")
    here.now_is_now()
    call = animal.calls.exclude(by=here.odile.pk)[0]
    sent = odile.fill(f"/calls/{call.pk}/objection", ground="wrong_reading", note="It tensed.")
    assert sent.goes_to == f"/animals/{animal.pk}"
    assert "Someone objects: it was misread" in odile.open(sent.goes_to).text


def test_finding_an_animal_among_many(here: Here, odile: Browser) -> None:
    for n in range(60):
        here.name(here.animal(f"T-{n:02}"), f"Animal {n:02}")
    path = f"/collections/{here.collection.pk}"
    first = odile.open(path)
    (onward,) = [one for one in first.links if "after=" in one]
    assert "Animal 59" not in first.text
    assert "Animal 59" in odile.open(f"{path}{onward}").text
    found = odile.open(f"{path}?q=T-07")
    assert "Animal 07" in found.text
    assert "Animal 08" not in found.text
    assert "No animal here is like that" in odile.open(f"{path}?q=%3Cb%3E").text
    assert odile.open(f"{path}?q=%00").status == 200


def test_a_sale_from_draft_to_closed(here: Here, odile: Browser, anyone: Browser) -> None:
    animal = here.verified("R-21", "female")
    here.name(animal, "Linnet")
    here.now_is_now()
    drafting = odile.open(f"/collections/{here.collection.pk}/sales/new?animal={animal.pk}").form()
    assert drafting.values["animals"] == [str(animal.pk)]
    typed = {"buyer_name": "Bela Novak", "buyer_email": "bela@buyers.example"}
    drafted = [odile.send(drafting, **typed) for _ in range(2)]
    sale = Sale.objects.get()
    assert {one.goes_to for one in drafted} == {f"/sales/{sale.pk}"}

    offering = odile.open(f"/sales/{sale.pk}/offer")
    assert "Linnet: verified female" in offering.text
    for _ in range(2):
        odile.send(offering.form(), recheck_days="21", remedy="exchange")
    assert sale.steps.filter(kind="offer_made").count() == 1
    assert Letter.objects.filter(kind="offer", to="bela@buyers.example").count() == 1

    anyone.fill(f"/offers/{here.token(sale)}", "/confirmation", statement="Verified female.")
    for step, state in (("payment", "paid"), ("handover", "handed_over"), ("closing", "closed")):
        page = odile.open(f"/sales/{sale.pk}")
        form = page.form(f"/{step}")
        assert [odile.send(form).status for _ in range(2)] == [302, 302]
        assert progress_of(Sale.objects.get(pk=sale.pk)).state == state
    page = odile.open(f"/sales/{sale.pk}")
    assert "Closed" in page.text
    assert "Payment Recorded" in page.text, "no day is ahead any more"
    assert "waiting to be sent" in page.text


def test_a_step_out_of_turn_is_refused_in_words(here: Here, odile: Browser) -> None:
    animal = here.verified("R-21")
    here.now_is_now()
    sale = here.draft(animal)
    here.offer(sale)
    withdrawing = odile.open(f"/sales/{sale.pk}").form("/withdrawal")
    withdrawing.action = f"/sales/{sale.pk}/payment"
    refused = odile.send(withdrawing)
    assert refused.status == 409
    assert "Nothing was recorded." in refused.text
    assert "does not follow a sale that is offered" in refused.text


def test_an_offer_on_a_record_that_moved_is_refused_and_shown_again(
    here: Here, odile: Browser
) -> None:
    animal = here.animal("R-21")
    here.now_is_now()
    sale = here.draft(animal)
    stale = odile.open(f"/sales/{sale.pk}/offer").form()
    here.call(here.odile, animal, "female")
    refused = odile.send(stale, remedy="refund", recheck_days="30")
    assert refused.status == 409
    assert "does not represent what the record says now" in refused.text
    again = refused.form("/offer")
    assert again.values["recheck_days"] == ["30"]
    assert odile.send(again).status == 302
    assert progress_of(Sale.objects.get(pk=sale.pk)).state == "offered"


def test_the_seller_does_not_choose_under_whose_id_the_buyer_answers(here: Here) -> None:
    client = Client()
    client.force_login(here.odile)
    typed = {
        "sale": str(new_id()),
        "buyer": str(here.stan.pk),
        "buyer_name": "Bela Novak",
        "buyer_email": "bela@buyers.example",
        "animals": [str(here.animal("R-21").pk)],
    }
    assert client.post(f"/collections/{here.collection.pk}/sales/new", typed).status_code == 302
    assert Sale.objects.get().buyer_id != here.stan.pk


def test_an_earlier_keepers_edits_are_not_the_buyers_to_read(
    here: Here, odile: Browser, stan: Browser
) -> None:
    animal = here.verified("R-21")
    stan.fill("/collections/new", name="Stan's shelf")
    here.now_is_now()
    here.name(animal, "Linnet", description="Bought cheap, sold dear")
    here.name(animal, "Linnet", description="")
    assert "sold dear" in odile.open(f"/animals/{animal.pk}/history").text
    sale = here.sold(animal, email=here.stan.email)
    target = Collection.objects.get(keeper=here.stan)
    body = {"to": str(target.pk), "why": "sold", "sale": str(sale.pk)}
    here.say(here.odile, "custody_changed", animal.pk, body)
    here.name(animal, "Wren")
    history = stan.open(f"/animals/{animal.pk}/history").text
    assert "sold dear" not in history
    assert "Wren" in history


def test_a_sold_animal_moves_to_the_buyers_collection(
    here: Here, odile: Browser, stan: Browser
) -> None:
    animal = here.verified("R-21")
    stan.fill("/collections/new", name="Stan's shelf")
    here.now_is_now()
    here.sold(animal, email=here.stan.email)
    form = odile.open(f"/animals/{animal.pk}/custody").form()
    target, sale = Collection.objects.get(keeper=here.stan), Sale.objects.get()
    typed = {"to": f"{target.pk} {sale.pk}", "why": "sold"}
    assert [odile.send(form, **typed).goes_to for _ in range(2)] == ["/", "/"]
    assert odile.open(f"/animals/{animal.pk}").status == 404
    assert stan.open(f"/animals/{animal.pk}").status == 200
