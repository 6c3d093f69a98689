"""Choosing among many animals: searched a few at a time, and nothing chosen or typed is lost."""

import re
from typing import Any

import pytest
from tests.pages.browser import Browser, Page
from tests.pages.conftest import Here
from tests.plugins.told_once import told_once
from tests.world import new_id

from scalewitness.animals.models import Animal
from scalewitness.pages.parts.picks import SHOWN
from scalewitness.people.models import Grant
from scalewitness.sales.models import Sale
from scalewitness.visits.models import InvitationByLetter

pytestmark = pytest.mark.one_in(6)

FAR = "T-00"
"""Registered first, and so offered last."""


@told_once
def many(here: Here) -> list[Animal]:
    """More than are shown at a time, by tag in order."""
    found = [here.animal(f"T-{number:02}") for number in range(SHOWN + 4)]
    for number, animal in enumerate(found):
        here.name(animal, f"N{number:02}")
    here.now_is_now()
    return found


def offered(page: Page, name: str) -> set[str]:
    """The ids that can be chosen in the field of that name."""
    boxes = {str(given.get("value")) for tag, given in page.tags
             if tag == "input" and given.get("name") == name}  # fmt: skip
    return boxes - {""}


def find(browser: Browser, page: Page, wanted: str, field: str = "animals", **typed: Any) -> Page:
    form = page.form()
    form.names["find"] = "button"
    return browser.send(form, **{f"find_{field}": wanted}, find=field, **typed)


def test_a_sale_keeps_what_was_chosen_and_typed_through_each_search(
    here: Here, odile: Browser, many: list[Animal]
) -> None:
    path = f"/collections/{here.collection.pk}/sales/new"
    page = odile.open(path)
    first, last = many[-1], many[0]
    assert len(offered(page, "animals")) == SHOWN
    assert str(last.pk) not in offered(page, "animals")
    typed = {"buyer_name": "Bela Novak", "buyer_email": "bela@buyers.example", "by_code": "on"}
    page = find(odile, page, FAR, animals=[str(first.pk)], **typed)
    assert (page.status, Sale.objects.count()) == (200, 0)
    assert offered(page, "animals") == {str(first.pk), str(last.pk)}
    form = page.form()
    assert form.values["animals"] == [str(first.pk)]
    assert form.values["buyer_name"] == ["Bela Novak"]
    assert any(given.get("name") == "by_code" and "checked" in given for _, given in page.tags)
    page = find(odile, page, "N03", animals=[str(first.pk), str(last.pk)], by_code="on")
    assert set(page.form().values["animals"]) == {str(first.pk), str(last.pk)}
    odile.send(page.form(), by_code="on")
    sale = Sale.objects.get()
    assert set(sale.animals.values_list("pk", flat=True)) == {first.pk, last.pk}
    assert (sale.buyer.email, sale.by_code) == ("bela@buyers.example", True)


def test_what_is_looked_for_may_be_far_down_the_list_of_a_visit(
    here: Here, odile: Browser, many: list[Animal]
) -> None:
    path = f"/collections/{here.collection.pk}/visits/new"
    page = find(odile, odile.open(path), FAR, email=here.greta.email, blind="no")
    assert page.form().values["blind"] == ["no"]
    odile.send(page.form(), animals=[str(many[0].pk)])
    invitation = InvitationByLetter.objects.get()
    assert invitation.animals == [str(many[0].pk)]
    assert not invitation.blind


def test_animals_chosen_elsewhere_are_ticked_wherever_they_stand(
    here: Here, odile: Browser, many: list[Animal]
) -> None:
    """As from the plan of a visit."""
    path = f"/collections/{here.collection.pk}/visits/new?animal={many[0].pk}"
    assert odile.open(path).form().values["animals"] == [str(many[0].pk)]


def test_parents_are_found_and_the_ones_on_record_stay(
    here: Here, odile: Browser, many: list[Animal]
) -> None:
    young = here.animal("Y-1", dam=str(many[-1].pk))
    path = f"/animals/{young.pk}/particulars"
    page = odile.open(path)
    assert page.form().values["dam"] == [str(many[-1].pk)]
    page = find(odile, page, f"N{SHOWN + 2:02}", "sire", traits="pied")
    assert page.form().values["traits"] == ["pied"]
    odile.send(page.form(), sire=str(many[-2].pk))
    young.refresh_from_db()
    assert (young.sire, young.dam) == (many[-2].pk, many[-1].pk)


def test_a_mate_is_found(here: Here, odile: Browser, many: list[Animal]) -> None:
    page = find(odile, odile.open(f"/animals/{many[-1].pk}/pairings/new"), FAR, "mate", role="sire")
    odile.send(page.form(), mate=str(many[0].pk))
    assert many[0].pairings_as_dam.get().sire_id == many[-1].pk


def test_only_ones_own_can_be_chosen(here: Here, stan: Browser, many: list[Animal]) -> None:
    """Neither by the search nor by an id that one knows."""
    stan.fill("/collections/new", name="Mine")
    here.now_is_now()
    path = f"/collections/{here.stan.collections.get().pk}/sales/new"
    for asked in (f"?animals={many[0].pk}", "?find_animals=N00"):
        assert offered(stan.open(f"{path}{asked}"), "animals") == set()


def test_a_search_that_finds_nothing_says_what_is_chosen(
    here: Here, odile: Browser, many: list[Animal]
) -> None:
    page = odile.open(f"/collections/{here.collection.pk}/swaps")
    form = page.form()
    page = odile.open(
        f"{form.action}?find_animals=nobody&find=animals&animals={many[0].pk}&animals=not-an-id"
    )
    assert page.status == 200
    assert offered(page, "animals") == {str(many[0].pk)}


def test_few_animals_need_no_search(here: Here, odile: Browser) -> None:
    here.animal("A-1")
    here.now_is_now()
    assert 'name="find"' not in odile.open(f"/collections/{here.collection.pk}/sales/new").html


# --- what is offered ---


def registering(odile: Browser, here: Here, **typed: str) -> Page:
    """The form to register an animal, once a dam was searched for."""
    page = odile.open(f"/collections/{here.collection.pk}/animals/new")
    return find(odile, page, "", "dam", **typed)


def test_no_form_offers_more_than_a_few_of_many(
    here: Here, odile: Browser, many: list[Animal]
) -> None:
    room = here.collection.pk
    paths = [f"/collections/{room}/{one}/new" for one in ("animals", "visits", "sales", "clutches")]
    paths += [f"/collections/{room}/swaps", f"/animals/{many[0].pk}/pairings/new"]
    for path in paths:
        page = odile.open(path)
        for name in ("animals", "sire", "dam", "mate"):
            assert len(offered(page, name)) <= SHOWN, (path, name)
        assert page.html.count(str(many[-1].pk)) <= 4, path


def test_those_spoken_of_last_are_offered_first(
    here: Here, odile: Browser, many: list[Animal]
) -> None:
    here.call(here.odile, many[0], "male")
    here.now_is_now()
    page = odile.open(f"/collections/{here.collection.pk}/sales/new")
    boxes = [given["value"] for tag, given in page.tags if given.get("name") == "animals"]
    assert boxes[:2] == [str(many[0].pk), str(many[-1].pk)]


def test_those_planned_together_are_offered_before_others(
    here: Here, odile: Browser, many: list[Animal]
) -> None:
    pair = {"sire": str(many[0].pk), "dam": str(many[1].pk), "season": 2027}
    here.say(here.odile, "pairing_planned", new_id(here.now), pair)
    here.now_is_now()
    page = registering(odile, here, sire=str(many[0].pk))
    dams = [given["value"] for tag, given in page.tags if given.get("name") == "dam"]
    assert dams[:2] == ["", str(many[1].pk)], "after “Not known”"


def test_those_a_check_helps_most_are_offered_to_a_guest_first(here: Here, odile: Browser) -> None:
    new = here.animal("A-1")
    sure = [here.verified(f"V-{number}") for number in range(2)]
    here.now_is_now()
    page = odile.open(f"/collections/{here.collection.pk}/visits/new")
    boxes = [given["value"] for tag, given in page.tags if given.get("name") == "animals"]
    assert boxes[0] == str(new.pk)
    assert set(boxes[1:]) == {str(one.pk) for one in sure}


def test_a_dam_is_of_the_species_older_and_not_verified_male(here: Here, odile: Browser) -> None:
    male, female = here.verified("M-1", "male"), here.verified("F-1", "female")
    unsexed, late = here.animal("U-1"), here.animal("L-1", hatched="2026-06-01")
    corn = here.animal("C-1", species="pantherophis_guttatus")
    here.now_is_now()
    page = registering(odile, here, species="python_regius", hatched="2026-05-01")
    assert offered(page, "dam") == {str(female.pk), str(unsexed.pk)}
    assert offered(page, "sire") == {str(male.pk), str(unsexed.pk)}
    page = registering(odile, here, dam=str(corn.pk))
    assert offered(page, "sire") == {str(corn.pk)}, "the species of the other parent"
    assert offered(page, "dam") >= {str(corn.pk), str(late.pk)}, "nothing narrows by itself"


def test_a_parent_on_record_stays_whatever_it_proves_to_be(here: Here, odile: Browser) -> None:
    """Saving the form must not lose a dam because she was verified male since."""
    dam = here.verified("M-1", "male")
    young = here.animal("Y-1", dam=str(dam.pk))
    here.now_is_now()
    page = odile.open(f"/animals/{young.pk}/particulars")
    assert page.form().values["dam"] == [str(dam.pk)]
    assert "M-1" in page.text
    assert "which you may not see" not in page.text
    page = find(odile, page, "", "dam", species="pantherophis_guttatus")
    assert page.form().values["dam"] == [str(dam.pk)], "chosen already, whatever narrows now"
    odile.send(page.form(), traits="pied", species="python_regius")
    young.refresh_from_db()
    assert young.dam == dam.pk


def test_a_mate_is_of_the_species_old_enough_and_not_of_the_same_sex(
    here: Here, odile: Browser
) -> None:
    male, female = here.verified("M-1", "male"), here.verified("F-1", "female")
    other, corn = here.verified("M-2", "male"), here.animal("C-1", species="pantherophis_guttatus")
    young = here.animal("Y-1", hatched="2026-06-01")
    here.now_is_now()
    page = odile.open(f"/animals/{male.pk}/pairings/new")
    assert offered(page, "mate") == {str(female.pk)}
    page = find(odile, page, "", "mate", season="2028", role="sire")
    assert offered(page, "mate") == {str(female.pk), str(young.pk)}
    assert not {str(other.pk), str(corn.pk)} & offered(page, "mate")


def test_a_mate_for_a_cross_is_of_any_species(here: Here, odile: Browser) -> None:
    ball, corn = here.verified("M-1", "male"), here.animal("C-1", species="pantherophis_guttatus")
    here.now_is_now()
    page = odile.open(f"/animals/{ball.pk}/pairings/new")
    assert str(corn.pk) not in offered(page, "mate")
    found = find(odile, page, "C-1", "mate", season="2028", role="sire", cross="on")
    assert offered(found, "mate") == {str(corn.pk)}
    assert re.search(r'name="cross"[^>]*checked', found.html), "what was ticked stays so"


def test_parents_of_one_of_no_listed_species_are_of_any(here: Here, odile: Browser) -> None:
    ball, corn = here.animal("B-1"), here.animal("C-1", species="pantherophis_guttatus")
    here.now_is_now()
    page = odile.open(f"/collections/{here.collection.pk}/animals/new")
    both = find(odile, page, "", "dam", species="serpentes", sire=str(ball.pk))
    assert str(corn.pk) in offered(both, "dam")
    one = find(odile, page, "", "dam", species="python_regius", sire=str(ball.pk))
    assert str(corn.pk) not in offered(one, "dam")


def test_an_animal_to_be_checked_blind_is_offered_as_its_bare_twin(
    here: Here, greta: Browser
) -> None:
    """To none: narrowing by sex, or a search for what only the record tells, says nothing."""
    rich, bare = here.verified("M-1", "male"), here.animal("B-1")
    here.name(rich, "Barnaby")
    here.visit(here.greta, rich, bare, days=60)
    here.now_is_now()
    greta.fill("/collections/new", name="Mine")
    room = here.greta.collections.get().pk
    for path in (f"/collections/{room}/animals/new", f"/collections/{room}/clutches/new"):
        page = greta.open(path)
        for asked in ("", "Barnaby", "M-1", "B-1", "python"):
            page = find(greta, page, asked, "dam")
            for role in ("sire", "dam"):
                assert not offered(page, role) & {str(rich.pk), str(bare.pk)}, (path, asked, role)
            assert "Barnaby" not in page.html.replace('value="Barnaby"', "").replace(
                "“Barnaby”", ""
            )


def test_whoever_had_access_before_is_chosen_by_name(here: Here, odile: Browser) -> None:
    here.view(here.stan)
    here.now_is_now()
    path = f"/collections/{here.collection.pk}/grants/new"
    page = odile.again().open(path)
    assert offered(page, "known") == {str(here.stan.pk)}
    assert here.stan.email not in page.html, "a name is shown, an address is theirs"
    here.make_partner(here.greta)
    refused = odile.send(
        page.form(), email=here.greta.email, known=str(here.stan.pk), role="viewer"
    )
    assert refused.status == 422
    assert "somebody else above" in refused.text
    before = Grant.objects.count()
    odile.send(page.form(), known=str(here.stan.pk), role="partner")
    assert Grant.objects.count() == before + 1
    assert Grant.objects.latest("position").to_id == here.stan.pk


def test_nobody_is_known_for_having_given_access(here: Here, stan: Browser) -> None:
    """Anybody can, unasked, under a name that somebody trusts."""
    here.view(here.stan)
    here.now_is_now()
    stan.fill("/collections/new", name="Mine")
    page = stan.again().open(f"/collections/{here.stan.collections.get().pk}/grants/new")
    assert offered(page, "known") == set()
