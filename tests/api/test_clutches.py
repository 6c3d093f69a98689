"""Clutches, their ratio, and the prior from a trait linked to sex."""

import json

import pytest
from tests.api.client import Api
from tests.world import World, new_id, probing

from scalewitness.domain.moments import rfc3339


def test_a_clutch_pushed_as_a_batch_is_counted(world: World, odile: Api) -> None:
    dam = world.animal("D-1")
    hatchlings = [world.animal(f"H-{n}", hatched="2026-08-01", dam=str(dam.pk)) for n in range(6)]
    sexes = ("male", "female", "male", "male", "female", "undetermined")
    items = [
        {
            "id": str(new_id()),
            "kind": "call_made",
            "at": rfc3339(world.now),
            "about": str(animal.pk),
            "body": probing(sex, f"H-{n}"),
        }
        for n, (animal, sex) in enumerate(zip(hatchlings, sexes, strict=True))
    ]
    pushed = odile.post("/push", {"items": items}).body["items"]
    assert [one["status"] for one in pushed] == ["accepted"] * 6
    (clutch,) = odile.get(f"/collections/{world.collection.pk}/clutches").body["items"]
    assert (clutch["count"], clutch["dam"], clutch["sire"]) == ("3.2.1", str(dam.pk), None)
    assert set(clutch["animals"]) == {str(one.pk) for one in hatchlings}
    assert clutch["ratio"] is None, "five checked young are too few"
    world.call(world.odile, hatchlings[-1], "female")
    (clutch,) = odile.get(f"/collections/{world.collection.pk}/clutches").body["items"]
    assert clutch["ratio"]["p"] == pytest.approx(1)
    assert clutch["ratio"]["low"] < 1 / 2 < clutch["ratio"]["high"]
    assert "Small clutches say little" in clutch["ratio"]["words"]


def test_only_stewards_see_clutches(world: World, greta: Api, stan: Api) -> None:
    """A clutch's count, its ratio and its p-value would tell a blind guest of its animals."""
    dam = world.animal("D-1")
    hatchlings = [world.animal(f"H-{n}", hatched="2026-08-01", dam=str(dam.pk)) for n in range(6)]
    for animal in hatchlings:
        world.call(world.odile, animal, "male")
    world.visit(world.greta, *hatchlings)
    clutches = f"/collections/{world.collection.pk}/clutches"
    for who in (greta, stan):
        assert who.get(clutches).code == "not_found"
    seen = [
        greta.get("/animals").body,
        greta.get("/changes").body,
        *(greta.get(f"/animals/{one.pk}").body for one in hatchlings),
    ]
    for word in ("ratio", "count", "males", "dam"):
        assert f'"{word}"' not in json.dumps(seen), word


def ask(who: Api, **body: object):
    return who.post("/genetics/sex-linked-prior", body)


def test_the_phase_decides_which_sex_the_trait_speaks_for(stan: Api) -> None:
    """A sire with the trait beside Y gives it to sons with 1 − r: at r = 0.1, 9 in 10."""
    carried = {"sire": 1, "dam": 0, "r": 0.1}
    with_y = ask(stan, **carried, beside="Y", shows="one_copy").body
    assert with_y["p_male"] == pytest.approx(0.9)
    assert ask(stan, **carried, beside="Y", shows="nothing").body["p_male"] == pytest.approx(0.1)
    assert ask(stan, **carried, beside="X", shows="one_copy").body["p_male"] == pytest.approx(0.1)
    assert ask(stan, **carried, shows="one_copy").body["p_male"] == pytest.approx(0.5)


def test_without_a_fraction_the_answer_is_a_range_with_its_cautions(stan: Api) -> None:
    found = ask(stan, sire=1, dam=0, beside="Y", shows="one_copy").body
    assert found["low"] < found["p_male"] < found["high"]
    assert (found["low"], found["high"]) == pytest.approx((1 - found["r_high"], 1 - found["r_low"]))
    assert any("not published" in one for one in found["cautions"])
    assert any("changes no standing" in one for one in found["cautions"])


def test_what_cannot_be_is_refused(stan: Api) -> None:
    impossible = ask(stan, sire=0, dam=0, shows="one_copy")
    assert (impossible.status, impossible.code, impossible.pointer) == (
        422, "out_of_range", "/shows",
    )  # fmt: skip
    assert ask(stan, sire=1, dam=0, beside="W", shows="one_copy").pointer == "/beside"
    assert ask(stan, sire=1, dam=0, shows="one_copy", r=0.6).code == "wrong_shape"
