"""A depth that no source gives is mostly a miscount: it is asked for again, and then kept."""

from typing import Any

import pytest
from tests.api.client import Api, fact
from tests.api.conftest import present
from tests.world import World, new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.calls.models import Call
from scalewitness.domain.sexing.taxa import deepest_known

pytestmark = pytest.mark.django_db


def deep(depth: str, stopped: str = "resistance", **more: Any) -> dict[str, Any]:
    body = probing("male", "A-1")
    body["observed"]["passes"][1] |= {"depth": depth, "stopped": stopped}
    body["observed"] |= more
    return body


def test_it_is_refused_with_the_reason_and_taken_when_insisted_on(
    odile: Api, animal: Animal
) -> None:
    path = f"/animals/{animal.pk}/calls"
    refused = odile.post(path, fact(deep("10.5")))
    assert (refused.status, refused.code) == (422, "unusual_depth")
    assert refused.pointer == "/body/observed/passes/1/depth"
    assert "deeper than 10 scales. Count again" in refused.body["detail"]
    assert not Call.objects.exists()
    sent = fact(deep("10.5", unusual=True))
    assert odile.post(path, sent).status == 201
    shown = odile.get(f"/calls/{sent['id']}").body
    assert shown["observed"]["passes"][1]["depth"] == "10.5"
    lines = odile.get(f"/animals/{animal.pk}/standing").body["lines"]
    assert "counted again as it is unusual" in " ".join(one["text"] for one in lines)


def test_it_weighs_what_the_end_of_the_range_weighs(world: World, odile: Api) -> None:
    found = []
    for depth in ("10", "14"):
        animal = world.animal(f"A-{depth}")
        body = deep(depth, unusual=depth != "10") | {"identified": {"by": "appearance"}}
        del body["observed"]["passes"][0]  # how far the sides are apart speaks too
        assert odile.post(f"/animals/{animal.pk}/calls", fact(body)).status == 201
        found.append(odile.get(f"/animals/{animal.pk}/standing").body["logged"]["p_male"])
    assert found[0] == found[1]


@pytest.mark.parametrize(
    ("species", "deepest"),
    [
        ("python_regius", "10"),  # Barker & Barker 2006
        ("pituophis_ruthveni", "16"),  # snakes in general
        ("bitis_gabonica", "16"),  # only a relative's are known
        ("simalia_amethistina", "16"),  # only of females
    ],
)
def test_the_deepest_known_is_the_species_own_or_that_of_snakes_in_general(
    species: str, deepest: str
) -> None:
    assert f"{deepest_known(species):f}" == deepest


def test_a_run_broken_off_says_nothing_and_is_not_asked_about(odile: Api, animal: Animal) -> None:
    body = fact(deep("13", "aborted"))
    assert odile.post(f"/animals/{animal.pk}/calls", body).status == 201


def test_what_an_offline_phone_sent_is_refused_so_that_it_can_be_mended(
    world: World, odile: Api, greta: Api, animal: Animal
) -> None:
    visit = world.visit(world.greta, animal, days=60)
    present(world)
    body = deep("12") | {"visit": str(visit)}
    item = fact(body) | {"kind": "call_made", "about": str(animal.pk)}
    (done,) = greta.post("/push", {"items": [item]}).body["items"]
    assert (done["status"], done["problem"]["code"]) == ("refused", "unusual_depth")
    assert done["problem"]["errors"][0]["pointer"] == "/body/observed/passes/1/depth"
    item["body"]["observed"]["unusual"] = True
    (done,) = greta.post("/push", {"items": [item]}).body["items"]
    assert done["status"] == "accepted", "under the same id"


@pytest.mark.parametrize(
    "observed",
    [deep("12")["observed"], {"method": "endoscopy", "seen": "testes", "post_mortem": True}],
    ids=["depth", "dissection"],
)
def test_a_stranger_learns_no_animals_species_or_fate_by_it(
    odile: Api, stan: Api, animal: Animal, observed: dict[str, Any]
) -> None:
    body = probing("male", "A-1") | {"observed": observed}
    answers = [stan.post(f"/animals/{one}/calls", fact(body)) for one in (animal.pk, new_id())]
    assert [one.code for one in answers] == ["not_found", "not_found"]
    assert answers[0].body["detail"] == answers[1].body["detail"]
