"""What everybody who is signed in may read of what the record learned."""

from tests.api.client import Api
from tests.learned import LITTLE, MISLEADS, publish, put_in_force
from tests.world import World

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
    assert (number["unit"], number["value"]) == ("of animals", "0.012500")
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
