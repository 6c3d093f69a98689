"""The page by which a keeper states the linkage of a trait."""

from tests.pages.browser import Browser
from tests.pages.conftest import Here

from scalewitness.animals.models import Animal
from scalewitness.standings.models import StatedLinkage


def young(here: Here, **body: str) -> Animal:
    sire, dam = here.animal("S-1"), here.animal("D-1")
    animal = here.animal("H-1", sire=str(sire.pk), dam=str(dam.pk), **body)
    here.now_is_now()
    return animal


def test_a_keeper_states_it_and_reads_what_it_does(here: Here, odile: Browser) -> None:
    animal = young(here)
    assert f"/animals/{animal.pk}/linkage" in odile.open(f"/animals/{animal.pk}").links
    sent = odile.fill(
        f"/animals/{animal.pk}/linkage",
        shows="one_copy",
        sire_copies="1",
        dam_copies="0",
        beside="Y",
    )
    page = odile.open(sent.goes_to)
    body = StatedLinkage.objects.get(animal=animal).body
    assert (body["recombination"], body["provenance"]) == ("0.050000", "keepers_speak_of")
    assert "Its keeper states that it shows one copy of coral glow" in page.text
    assert "is not published where we could read it" in page.text
    assert "coral_glow.recombination" in page.text
    assert "linkage stated" in odile.open(f"/animals/{animal.pk}/history").text.lower()


def test_what_cannot_be_is_said_beside_its_field(here: Here, odile: Browser) -> None:
    animal = young(here)
    page = odile.fill(
        f"/animals/{animal.pk}/linkage", shows="one_copy", sire_copies="0", dam_copies="0"
    )
    assert page.status == 422
    assert "Such parents have no such young." in page.text
    assert not StatedLinkage.objects.exists()


def test_no_form_without_both_parents_or_a_known_trait(here: Here, odile: Browser) -> None:
    bare = here.animal("A-1")
    boa = young(here, species="boa_imperator")
    for animal in (bare, boa):
        path = f"/animals/{animal.pk}/linkage"
        assert path not in odile.open(f"/animals/{animal.pk}").links
        assert odile.open(path).status == 404


def test_a_blind_guest_finds_neither_form_nor_statement(
    here: Here, odile: Browser, greta: Browser
) -> None:
    animal = young(here)
    path = f"/animals/{animal.pk}"
    here.visit(here.greta, animal)
    before = greta.open(path)
    odile.fill(f"{path}/linkage", shows="one_copy", sire_copies="1", dam_copies="0", beside="Y")
    after = greta.open(path)
    assert after.text == before.text
    assert "linkage" not in after.html
    assert greta.open(f"{path}/linkage").status == 404
