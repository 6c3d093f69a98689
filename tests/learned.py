"""Numbers learned on some night, as a test wants them, and put in force."""

from datetime import timedelta

from tests.world import World, new_id

from scalewitness.intake.numbers import adopt_numbers
from scalewitness.ledger.queries.tree import tip
from scalewitness.standings.models import AdoptedNumbers, NumbersCandidate
from scalewitness.standings.queries.learned import QUARTER

MISLEADS = "mislead.probing.female"
"""How many females show the picture of a male to whoever probes them."""
LITTLE = {MISLEADS: "0.009500"}
"""Brings a `World.verified` male from 0.994 to 0.987."""
MUCH = {MISLEADS: "0.020000"}
"""Brings it to 0.977."""


def publish(world: World, numbers: dict[str, str]) -> NumbersCandidate:
    """As the nightly task would, had it learned these."""
    return NumbersCandidate.objects.create(
        id=new_id(world.now),
        made_at=world.now,
        learned_until=tip().size,
        builds_on="sexing-3",
        numbers=[
            {
                "name": name,
                "value": value,
                "low": value,
                "high": value,
                "males": 46,
                "females": 51,
                "examiners": 9,
                "collections": 6,
            }
            for name, value in sorted(numbers.items())
        ],
    )


def put_in_force(world: World, numbers: dict[str, str]) -> AdoptedNumbers:
    """A quarter after any before."""
    world.now += QUARTER + timedelta(days=1)
    publish(world, numbers)
    return adopt_numbers(world.now)
