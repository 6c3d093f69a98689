"""An animal's assessment, worked out apart from what was logged of it."""

from scalewitness.animals.models import Animal
from scalewitness.domain.sexing.evidence import Evidence
from scalewitness.domain.sexing.standing import Assessment
from scalewitness.standings.queries.assessing import Yardstick, assess_animal, yardstick
from scalewitness.standings.queries.evidence import calls_of_snake, evidence_of
from scalewitness.standings.queries.linkage import start_of
from scalewitness.standings.queries.logged import latest_standing


def assessment_of(animal: Animal, by: Yardstick | None = None) -> tuple[Assessment, list[Evidence]]:
    """From the calls that count now, with the evidence used; by what is in force now unless said
    otherwise."""
    by = by or yardstick()
    evidence = [evidence_of(call) for call in calls_of_snake(animal.pk)]
    start, stated = start_of(animal, by.numbers), latest_standing(animal.pk)
    return assess_animal(animal.species, evidence, by, start, stated), evidence
