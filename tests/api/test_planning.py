"""Plans and suppositions over HTTP."""

from typing import Any
from uuid import uuid4

import pytest
from tests.api.client import Answer, Api, fact
from tests.api.conftest import present
from tests.world import World, probing

from scalewitness.animals.models import Animal
from scalewitness.ledger.queries.tree import tip

pytestmark = pytest.mark.one_in(4)


@pytest.fixture
def probed(world: World, animal: Animal) -> Animal:
    """Probed by its owner a month ago."""
    world.call(world.odile, animal, "male")
    present(world)
    return animal


def plan(who: Api, animal: Animal) -> dict[str, Any]:
    answer = who.get(f"/animals/{animal.pk}/plan")
    assert answer.status == 200, answer
    found: dict[str, Any] = answer.body
    return found


def suppose(who: Api, animal: Animal, **body: Any) -> Answer:
    return who.post(f"/animals/{animal.pk}/what-if", body)


def test_an_independent_keeper_comes_before_the_owner(
    world: World, odile: Api, probed: Animal
) -> None:
    found = plan(odile, probed)
    order = [one["examiner"]["key"] for one in found["checks"] if one["method"] == "probing"]
    assert "keeper" in order
    owner = str(world.odile.pk)
    assert owner not in order or order.index("keeper") < order.index(owner)
    blind = next(one for one in found["checks"] if one["examiner"]["key"] == "keeper")
    assert (blind["blind"], blind["examiner"]["id"]) == (True, None)
    assert blind["loss_after"] < blind["loss_now"]


def test_a_plan_says_what_it_is_measured_by(odile: Api, probed: Animal) -> None:
    found = plan(odile, probed)
    standing = odile.get(f"/animals/{probed.pk}/standing").body
    by = found["measured_by"]
    for name in ("parameters", "policy", "examiner_records"):
        assert by[name] == standing[name]
    assert all(one["status"] for one in by["planning"])
    assert {"minutes.probing", "stakes.dispute"} <= {one["name"] for one in by["planning"]}
    assert "Never push. Let the probe glide and stop at resistance." in found["cautions"]


def test_what_is_ruled_out_has_its_reason(odile: Api, probed: Animal) -> None:
    odile.post(f"/animals/{probed.pk}/husbandry", fact({"noted": {"type": "meal", "taken": True}}))
    found = plan(odile, probed)
    assert "probing" not in {one["method"] for one in found["checks"]}
    whys = {(one["method"], one["examiner"]["key"]): one["why"] for one in found["ruled_out"]}
    assert whys["probing", "keeper"] == ["It was fed less than 7 days before."]
    assert whys["ultrasound", "keeper"][0] == "An examiner in this role does not use this method."


def test_a_visit_keeps_its_minutes(world: World, odile: Api, probed: Animal) -> None:
    other = world.animal("A-2")
    path = f"/collections/{world.collection.pk}/plan"
    long = odile.get(path, minutes=60, by="keeper").body
    assert {one["animal"] for one in long["lines"]} == {str(probed.pk), str(other.pk)}
    assert {one["examiner"]["key"] for one in long["lines"]} == {"keeper"}
    short = odile.get(path, minutes=12, by="keeper").body
    assert len(short["lines"]) == len(short["left_out"]) == 1
    assert short["minutes"] <= short["budget"] == 12


def test_a_visit_counts_what_is_at_stake(world: World, odile: Api, probed: Animal) -> None:
    sold = world.animal("A-2")
    world.draft(sold)
    lines = odile.get(f"/collections/{world.collection.pk}/plan").body["lines"]
    found = next(one for one in lines if one["animal"] == str(sold.pk))
    assert found["stake"] == 5
    assert "A buyer is waiting for it." in found["reasons"]


def test_a_visit_of_a_verified_animal_needs_nothing(world: World, odile: Api) -> None:
    animal = world.verified("V-1")
    present(world)
    found = odile.get(f"/collections/{world.collection.pk}/plan").body
    assert (found["lines"], found["no_need"]) == ([], [str(animal.pk)])


def test_a_line_says_what_a_second_check_would_bring(world: World, odile: Api) -> None:
    world.animal("A-1")
    present(world)
    path = f"/collections/{world.collection.pk}/plan"
    (line,) = odile.get(path, minutes=60, by="keeper").body["lines"]
    two = line["ahead"]
    assert (two["method"], two["days"], two["another"], two["blind"]) == ("probing", 14, True, True)
    assert line["verified"] == 0 < two["verified"] < 1
    assert f"{100 * two['verified']:.0f} in 100 verified" in two["text"]
    assert line["settles"].endswith("none verified.")


def test_a_veterinarian_comes_only_when_named(world: World, odile: Api, probed: Animal) -> None:
    found = plan(odile, probed)
    roles = {one["party"]: one["expected"] for one in found["examiners"]}
    assert roles == {"owner": True, "guest": True, "veterinarian": False, "laboratory": True}
    assert "veterinarian" not in {one["examiner"]["party"] for one in found["ruled_out"]}
    asked = {"by": "veterinarian,keeper", "price_veterinarian": 10, "wrong_sex": 1000}
    both = odile.get(f"/animals/{probed.pk}/plan", **asked).body
    costs = {one["examiner"]["key"]: one["cost"] for one in both["checks"]}
    assert costs == {"veterinarian": 0.01, "keeper": 0}


@pytest.mark.parametrize(
    ("query", "parameter"),
    [
        ({"minutes": "soon"}, "minutes"),
        ({"minutes": 0}, "minutes"),
        ({"by": "nobody"}, "by"),
        ({"by": "keeper,nobody"}, "by"),
        ({"price_guest": "-1"}, "price_guest"),
        ({"wrong_sex": 0}, "wrong_sex"),
    ],
)
def test_a_visit_asked_for_badly(
    world: World, odile: Api, query: dict[str, Any], parameter: str
) -> None:
    answer = odile.get(f"/collections/{world.collection.pk}/plan", **query)
    assert (answer.status, answer.code) == (400, "malformed")
    assert answer.body["parameter"] == parameter


def test_what_if_foretells_what_a_call_then_does(
    world: World, odile: Api, greta: Api, probed: Animal
) -> None:
    visit = world.visit(world.greta, probed)
    observed = probing("male")["observed"]
    size = tip().size
    found = suppose(odile, probed, method="probing", conclusion="male", observed=observed)
    assert found.status == 200
    assert tip().size == size
    before = odile.get(f"/animals/{probed.pk}/standing").body
    assert found.body["before"]["label"] == before["label"] == "probable male"
    assert found.body["text"].startswith("The label would change from probable male to verified")
    made = probing("male", "A-1") | {"visit": str(visit)}
    assert greta.post(f"/animals/{probed.pk}/calls", fact(made)).status == 201
    real = odile.get(f"/animals/{probed.pk}/standing").body
    for name in ("label", "p_male", "p_male_pessimistic"):
        assert found.body["after"][name] == real[name]
    for name in ("parameters", "policy", "examiner_records"):
        assert found.body[name] == real[name]


def test_my_own_second_call_is_never_blind(odile: Api, probed: Animal) -> None:
    mine = suppose(odile, probed, method="probing", conclusion="male", mine=True, blind=True).body
    other = suppose(odile, probed, method="probing", conclusion="male").body
    assert (mine["call"]["blind"], other["call"]["blind"]) == (False, True)
    assert mine["after"]["p_male"] < other["after"]["p_male"]


@pytest.mark.parametrize(
    ("body", "code", "pointer"),
    [
        ({"method": "reproduction", "conclusion": "male"}, "out_of_range", "/conclusion"),
        (
            {
                "method": "probing",
                "conclusion": "male",
                "observed": {"method": "ultrasound", "seen": "hemipenes"},
            },
            "wrong_shape",
            "/observed/method",
        ),
        ({"method": "tarot", "conclusion": "male"}, "wrong_shape", "/method"),
    ],
)
def test_what_no_call_could_be(
    odile: Api, animal: Animal, body: dict[str, Any], code: str, pointer: str
) -> None:
    answer = suppose(odile, animal, **body)
    assert (answer.status, answer.code, answer.pointer) == (422, code, pointer)


def test_a_blind_guest_learns_nothing(world: World, greta: Api, probed: Animal) -> None:
    visit = world.visit(world.greta, probed)
    asked = {"method": "probing", "conclusion": "male"}
    paths = (f"/animals/{probed.pk}/plan", f"/collections/{world.collection.pk}/plan")
    nowhere = suppose(greta, Animal(pk=uuid4()), **asked)
    assert suppose(greta, probed, **asked).body == nowhere.body
    assert [greta.get(path).status for path in paths] == [404, 404]
    world.call(world.greta, probed, "male", visit=visit)
    assert suppose(greta, probed, **asked).status == 200
    assert [greta.get(path).status for path in paths] == [404, 404]
