"""Which animals of a large collection are weighed when its season is planned."""

from scalewitness.domain.season.values import BreedingAnimal
from scalewitness.seasons.queries.inputs import FEMALES, MALES, weighed


def animal(key: str, male: float, **more: str) -> BreedingAnimal:
    return BreedingAnimal(key, "python_regius", male, male, {8: 1.0}, **more)  # type: ignore[arg-type]


def test_those_planned_are_weighed_whatever_else_there_is_and_then_the_surest() -> None:
    sure = [animal(f"f{n:03}", 0.01) for n in range(FEMALES)]
    planned, unsure = animal("planned", 0.4), animal("unsure", 0.3)
    resting = animal("resting", 0.001, availability="resting")
    males = [animal(f"m{n:03}", 0.99) for n in range(MALES + 1)]
    found = {one.animal for one in weighed([*males, planned, unsure, resting, *sure], {"planned"})}
    assert found == {
        "planned",
        *(f"f{n:03}" for n in range(FEMALES - 1)),
        *(f"m{n:03}" for n in range(MALES)),
    }


def test_a_small_collection_is_weighed_whole() -> None:
    few = [animal(f"f{n}", 0.2) for n in range(9)]
    assert list(weighed(few, ())) == few
