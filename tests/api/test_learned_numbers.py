"""What everybody who is signed in may read of what the record learned."""

from tests.api.client import Api, fact
from tests.api.conftest import present
from tests.api.test_sales import draft, terms
from tests.learned import LITTLE, MISLEADS, publish, put_in_force
from tests.world import World

from scalewitness.intake.numbers import adopt_numbers
from scalewitness.standings.models import NumbersCandidate

NOTHING = {"versions": [], "candidate": None, "may_follow": None}


def test_a_candidate_and_what_is_in_force_are_published(world: World, stan: Api) -> None:
    found = stan.get("/learned-numbers")
    assert (found.status, found.body) == (200, NOTHING)
    put_in_force(world, LITTLE)
    publish(world, {MISLEADS: "0.013000"})
    found = stan.get("/learned-numbers")
    (version,) = found.body["versions"]
    assert version["version"] == "sexing-3.1"
    (number,) = version["numbers"]
    assert number["about"] == "Probing: females that look male to whoever examines them"
    assert (number["unit"], number["value"]) == ("of animals", "0.009500")
    assert (number["males"], number["females"], number["collections"]) == (46, 51, 6)
    assert found.body["candidate"]["numbers"][0]["value"] == "0.013000"
    assert found.body["may_follow"] > version["at"]


def test_nothing_is_told_of_one_examiner_or_of_a_few_animals(world: World, stan: Api) -> None:
    numbers = {f"depth_bias.{world.greta.pk}": "0.5", MISLEADS: "0.013000"}
    made = publish(world, numbers)
    few = [{**one, "males": 9, "females": 8} for one in made.numbers]
    NumbersCandidate.objects.filter(pk=made.pk).update(numbers=[*few])
    found = stan.get("/learned-numbers").body["candidate"]
    assert (found["numbers"], found["not_shown"]) == ([], 2)
    assert str(world.greta.pk) not in str(found)
    NumbersCandidate.objects.filter(pk=made.pk).update(
        numbers=[{**one, "collections": 4} for one in made.numbers]
    )
    assert stan.get("/learned-numbers").body["candidate"]["not_shown"] == 2


def test_an_offer_after_numbers_changed_represents_them_at_the_first_go(
    world: World, odile: Api, stan: Api
) -> None:
    """Nothing new was seen, so its seller is not sent back to read it again."""
    animal = world.verified("V1")
    publish(world, LITTLE)
    adopt_numbers(world.now)
    present(world)
    path = f"/animals/{animal.pk}/standing"
    before = odile.get(path).body
    assert (before["label"], before["parameters"]) == ("verified male", "sexing-3")
    sale = draft(odile, world, animal).body["id"]
    assert odile.post(f"/sales/{sale}/offer", fact(**terms())).status == 201
    (represented,) = odile.get(f"/sales/{sale}").body["offer"]["represents"]
    assert (represented["label"], represented["p_male"][:5]) == ("verified male", "0.987")
    shown = odile.get(path).body
    assert (shown["label"], shown["parameters"]) == ("verified male", "sexing-3.1")
    assert "kept_as_numbers_changed" in shown["reasons"]
    assert any("take a verified sex away" in one["text"] for one in shown["lines"])
    used = {(one["of"], one["name"]): one for one in shown["used"]}
    assert used["base", MISLEADS]["status"] == "learned here"
    assert used["policy", "kept"]["value"] == 0.985
    assert stan.get(path).status == 404, "who may not see the animal learns nothing of it"
