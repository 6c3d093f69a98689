"""A tail measured and scales counted, through the API."""

import pytest
from tests.api.client import Api, fact
from tests.world import World, probing

pytestmark = pytest.mark.django_db


def test_a_tail_moves_the_standing_of_a_species_whose_tails_are_on_record(
    world: World, odile: Api
) -> None:
    animal = world.animal("A-1", "virginia_striatula")
    observed = {"method": "tail_length", "tail_mm": 42, "total_mm": 200}
    sent = fact(probing("male", "A-1") | {"observed": observed})
    path = f"/animals/{animal.pk}"
    assert odile.post(f"{path}/calls", sent).status == 201
    found = odile.get(f"{path}/standing").body
    assert 0.75 < found["p_male"] < 0.95
    lines = " ".join(one["text"] for one in found["lines"])
    assert "Measured 42 mm of tail in 200 mm of snake" in lines
    observed |= {"total_mm": 42}
    refused = odile.post(f"{path}/calls", fact(probing("male", "A-1") | {"observed": observed}))
    assert (refused.status, refused.pointer) == (422, "/body/observed/total_mm")


def test_tails_alone_verify_nothing(world: World, odile: Api) -> None:
    animal = world.animal("A-1", "virginia_striatula")
    observed = {"method": "tail_length", "tail_mm": 42, "total_mm": 200}
    for _ in range(10):
        sent = fact(probing("male", "A-1") | {"observed": observed})
        odile.post(f"/animals/{animal.pk}/calls", sent)
    assert odile.get(f"/animals/{animal.pk}/standing").body["label"] in {"unsexed", "probable male"}
