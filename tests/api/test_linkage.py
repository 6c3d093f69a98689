"""A sex-linked trait stated through the API, and hidden from the blind like a call."""

from typing import Any

import pytest
from tests.api.client import Api, fact
from tests.api.conftest import present
from tests.plugins.told_once import told_once
from tests.world import World, new_id

from scalewitness.animals.models import Animal


@told_once
def young(world: World) -> Animal:
    sire, dam = world.animal("S-1"), world.animal("D-1")
    found = world.animal("H-1", sire=str(sire.pk), dam=str(dam.pk))
    present(world)
    return found


def linkage(animal: Animal, **other: Any) -> dict[str, Any]:
    said = {
        "trait": "coral_glow",
        "shows": "one_copy",
        "sire": str(animal.sire),
        "dam": str(animal.dam),
        "sire_copies": 1,
        "dam_copies": 0,
        "beside": "Y",
        "recombination": "0.050000",
        "provenance": "keepers_speak_of",
    }
    return said | other


def test_it_is_stated_once_and_moves_the_standing(odile: Api, young: Animal) -> None:
    """0.75 · 0.95 + 0.25 / 2, worked out by hand."""
    sent = fact(linkage(young), texts={"note": "His sire was bred by me."})
    first = odile.post(f"/animals/{young.pk}/linkage", sent)
    assert (first.status, first.body["status"]) == (201, "accepted")
    assert odile.post(f"/animals/{young.pk}/linkage", sent).status == 200
    shown = odile.get(f"/animals/{young.pk}/standing").body
    assert (shown["label"], shown["p_male"]) == ("unsexed", pytest.approx(0.8375))
    assert shown["logged"]["p_male"] == "0.837500"
    assert any("one copy of coral glow" in line["text"] for line in shown["lines"])
    assert {"linkage", "pessimistic"} <= {one["of"] for one in shown["used"]}
    kinds = [one["kind"] for one in odile.get(f"/animals/{young.pk}/history").body["facts"]]
    assert kinds[-2:] == ["linkage_stated", "standing_changed"]


def test_what_the_parents_cannot_have_is_refused_at_its_place(odile: Api, young: Animal) -> None:
    answer = odile.post(
        f"/animals/{young.pk}/linkage", fact(linkage(young, sire_copies=0, beside=None))
    )
    assert (answer.status, answer.code, answer.pointer) == (422, "out_of_range", "/body/shows")


def test_a_supposed_call_starts_from_what_was_stated(odile: Api, young: Animal) -> None:
    body = {"method": "probing", "conclusion": "male"}
    before = odile.post(f"/animals/{young.pk}/what-if", body).body
    odile.post(f"/animals/{young.pk}/linkage", fact(linkage(young)))
    after = odile.post(f"/animals/{young.pk}/what-if", body).body
    assert after["after"]["p_male"] > before["after"]["p_male"]


def test_a_blind_guest_reads_the_same_with_it_as_without(
    world: World, odile: Api, greta: Api, young: Animal
) -> None:
    visit = world.visit(world.greta, young)
    paths = [f"/animals/{young.pk}{part}" for part in ("", "/standing", "/history", "/calls")]
    paths += ["/animals", f"/visits/{visit}", f"/visits/{visit}/sheet", "/collections"]
    before = [(greta.get(path).status, greta.get(path).body) for path in paths]
    refused = greta.post(f"/animals/{young.pk}/linkage", fact(linkage(young)))
    assert (refused.status, refused.code) == (404, "not_found")
    assert odile.post(f"/animals/{young.pk}/linkage", fact(linkage(young))).status == 201
    assert [(greta.get(path).status, greta.get(path).body) for path in paths] == before


def test_a_stranger_cannot_tell_the_animal_from_none(stan: Api, young: Animal) -> None:
    real = stan.post(f"/animals/{young.pk}/linkage", fact(linkage(young)))
    assert real.status == 404
    nowhere = stan.post(f"/animals/{new_id()}/linkage", fact(linkage(young)))
    assert real.body == nowhere.body
