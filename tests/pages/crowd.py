"""The stage of the API's tests with a crowd of animals on it, and all that comes with them."""

from collections.abc import Iterable
from datetime import timedelta
from typing import Any

from tests.api.stage import Stage
from tests.world import new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.domain.moments import rfc3339
from scalewitness.intake.batch import Actor
from scalewitness.intake.services import accept
from scalewitness.people.models import Keeper

BATCH = 500
CLUTCH = 5
CALLS = 3


def grow(stage: Stage, size: int) -> None:
    """The owner's collection comes to have ``size`` animals: named, in clutches, weighed and
    called on, a tenth of them in a sale, a tenth in a dispute, a fifth paired and invited to."""
    world = stage.world
    world.pass_time(minutes=1)
    there = Animal.objects.filter(collection=world.collection).count()
    new = [new_id(world.now) for _ in range(there, size)]
    _say(stage, world.odile, (_registered(stage, one, n) for n, one in enumerate(new)))
    _say(stage, world.odile, (_tagged(stage, one, there + n) for n, one in enumerate(new)))
    _say(stage, world.odile, (_weighed(stage, one) for one in new))
    _say(stage, world.odile, (_called(stage, one, n) for n, one in enumerate(CALLS * new)))
    animals = list(Animal.objects.filter(pk__in=new).order_by("pk"))
    for one in animals[::10]:
        world.offer(world.draft(one), expires=_in_days(stage, 90))
    for one, other in zip(animals[1::10], animals[2::10], strict=False):
        pair = {"sire": str(one.pk), "dam": str(other.pk), "season": 2027}
        world.say(world.odile, "pairing_planned", new_id(world.now), pair)
        world.invite(world.greta, one, other, days=60)
    for one in animals[3::10]:
        objected = {"animal": str(one.pk), "ground": "party_objects"}
        world.say(world.odile, "dispute_opened", new_id(world.now), objected)


def _say(stage: Stage, who: Keeper, items: Iterable[dict[str, Any]]) -> None:
    listed = list(items)
    for start in range(0, len(listed), BATCH):
        outcomes = accept(listed[start : start + BATCH], Actor(keeper=who.pk), stage.world.now)
        refused = [one.problem for one in outcomes if one.problem]
        assert not refused, refused[0]


def _registered(stage: Stage, animal: Any, number: int) -> dict[str, Any]:
    hatched = (stage.world.now - timedelta(days=1000 + number // CLUTCH)).date()
    body = {
        "collection": stage.ids["collection"],
        "species": "python_regius",
        "hatched": hatched.isoformat(),
        "dam": stage.ids["other"],
    }
    return stage.world.item("animal_registered", animal, body)


def _tagged(stage: Stage, animal: Any, number: int) -> dict[str, Any]:
    return stage.world.item(
        "identifier_assigned", animal, {"scheme": "tag", "code": f"Q{number:05}"}
    )


def _weighed(stage: Stage, animal: Any) -> dict[str, Any]:
    noted = {"type": "weight", "grams": "400"}
    return stage.world.item("husbandry_noted", animal, {"noted": noted})


def _called(stage: Stage, animal: Any, number: int) -> dict[str, Any]:
    return stage.world.item("call_made", animal, probing(("male", "female")[number % 2]))


def _in_days(stage: Stage, days: int) -> str:
    return rfc3339(stage.world.now + timedelta(days=days))
