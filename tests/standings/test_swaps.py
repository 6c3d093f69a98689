"""From the record to the comparison of labels: what counts as before, after, read, weighed."""

from datetime import date, timedelta
from uuid import UUID

import pytest
from fixtures_demo.fixed import Calendar
from fixtures_demo.scenario import Animal as DemoAnimal
from fixtures_demo.scenario import Scenario
from tests.world import World, keeper

from scalewitness.animals.models import Animal
from scalewitness.domain.errors import NotFound
from scalewitness.people.models import Keeper
from scalewitness.standings.queries.swaps import Compared, compare_labels, travellers_seen

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(2)]

CODES = ("999000000010121", "999000000010122")


def pair(world: World) -> tuple[Animal, Animal]:
    """Two siblings with transponders; two keepers found the first female, the second male."""
    found = []
    for tag, code, sex, grams in (
        ("S-1", CODES[0], "female", "1820"),
        ("S-2", CODES[1], "male", "2260"),
    ):
        animal = world.animal(tag)
        world.say(
            world.odile, "identifier_assigned", animal.pk, {"scheme": "transponder", "code": code}
        )
        world.call(world.odile, animal, sex)
        world.call(world.stan, animal, sex, visit=world.visit(world.stan, animal))
        weigh(world, animal, grams)
        found.append(animal)
    return found[0], found[1]


def weigh(world: World, animal: Animal, grams: str) -> None:
    noted = {"noted": {"type": "weight", "grams": grams}}
    assert world.say(world.odile, "husbandry_noted", animal.pk, noted).status == "accepted"


def exchange(world: World, one: Animal, two: Animal) -> None:
    """Afterwards two keepers find each as the other was."""
    world.pass_time(days=20)
    for guest in (world.greta, world.pim):
        for animal, sex in ((one, "male"), (two, "female")):
            visit = world.visit(guest, animal)
            assert world.call(guest, animal, sex, visit=visit).status == "accepted"


def share(compared: Compared, kind: str) -> float:
    return sum(one.share for one in compared.found.explanations if one.kind == kind)


def test_exchanged_siblings_are_found_without_saying_when(world: World) -> None:
    one, two = pair(world)
    exchange(world, one, two)
    compared = compare_labels([one, two])
    assert compared.because == "first_contradiction"
    assert compared.moved_at == world.now
    first = compared.found.explanations[0]
    assert first.kind == "exchanged"
    assert {UUID(label) for label in first.labels} == {one.pk, two.pk}


def test_transponders_read_in_the_wrong_animal_settle_it(world: World) -> None:
    one, two = pair(world)
    exchange(world, one, two)
    calls_alone = share(compare_labels([one, two]), "exchanged")
    world.pass_time(days=1)
    for animal, sex, code in ((one, "male", CODES[1]), (two, "female", CODES[0])):
        by = {"identified": {"by": "transponder", "code": code}}
        world.call(world.odile, animal, sex, body=by)
    with_codes = share(compare_labels([one, two]), "exchanged")
    assert calls_alone < with_codes
    assert with_codes > 0.99


def test_their_own_codes_read_speak_against_it(world: World) -> None:
    one, two = pair(world)
    exchange(world, one, two)
    doubted = share(compare_labels([one, two]), "exchanged")
    world.pass_time(days=1)
    for animal, code in ((one, CODES[0]), (two, CODES[1])):
        by = {"identified": {"by": "transponder", "code": code}}
        world.call(world.odile, animal, "undetermined", body=by)
    assert share(compare_labels([one, two]), "exchanged") < doubted / 10


def test_weights_that_changed_places_speak_for_it(world: World) -> None:
    one, two = pair(world)
    exchange(world, one, two)
    calls_alone = share(compare_labels([one, two]), "exchanged")
    weigh(world, one, "2270")
    weigh(world, two, "1815")
    assert share(compare_labels([one, two]), "exchanged") > calls_alone


def test_the_moment_divides_earlier_from_later_checks(world: World) -> None:
    one, two = pair(world)
    exchange(world, one, two)
    long_before = compare_labels([one, two], world.now - timedelta(days=300))
    assert (long_before.because, long_before.moved_at) == ("said", world.now - timedelta(days=300))
    between = compare_labels([one, two], world.now - timedelta(days=1))
    assert share(between, "exchanged") > share(long_before, "exchanged")


def test_without_anything_odd_all_is_most_likely_as_labelled(world: World) -> None:
    compared = compare_labels(pair(world))
    assert (compared.because, compared.moved_at) == ("nothing_apart", None)
    assert compared.found.explanations[0].kind == "as_labelled"
    assert compared.found.explanations[0].share > 0.85


def test_a_blind_guest_and_a_stranger_compare_nothing(world: World) -> None:
    one, two = pair(world)
    world.visit(world.greta, one, two)
    for who in (world.greta, world.pim):
        with pytest.raises(NotFound):
            travellers_seen(who.pk, [one.pk, two.pk], world.now)
    assert len(travellers_seen(world.odile.pk, [one.pk, two.pk], world.now)) == 2


def test_the_swapped_siblings_of_the_demo(world: World) -> None:
    """What the scenario says of Moss and Fern, told here in the order of its dates: the
    tags stayed on the tubs, the readers gave each the other's transponder."""
    scenario, calendar = Scenario(), Calendar(date(2026, 11, 25))
    world.now = calendar.at("-120d 09:00")
    guests: dict[str, Keeper] = {}
    moss, fern = (registered(world, scenario.animals[key]) for key in ("moss", "fern"))
    siblings = {"moss": moss, "fern": fern}
    told = [
        (calendar.at(call.at), batch, call)
        for batch in scenario.batches.values()
        for call in batch.call
        if call.animal in siblings
    ]
    for key, animal in siblings.items():
        for note in scenario.animals[key].notes:
            world.now = calendar.at(note.at)
            noted = {"noted": dict(note.noted)}
            assert world.say(world.odile, "husbandry_noted", animal.pk, noted).position
    for when, batch, call in sorted(told, key=lambda one: one[0]):
        world.now = when
        animal = siblings[call.animal]
        who = world.odile
        if batch.visit:
            who = guests[batch.by] = guests.get(batch.by) or keeper(batch.by)
        by = call.read or batch.read
        code = getattr(scenario.animals[call.animal], by)
        body = {
            "conclusion": call.conclusion,
            "observed": dict(call.observed),
            "identified": call.identified or {"by": by, "code": code},
        }
        visit = world.visit(who, animal) if batch.visit else None
        assert world.call(who, animal, call.conclusion, visit=visit, body=body).position
    compared = compare_labels([moss, fern])
    assert compared.moved_at == calendar.at("-43d 15:00")
    first = compared.found.explanations[0]
    assert (first.kind, {UUID(one) for one in first.labels}) == ("exchanged", {moss.pk, fern.pk})
    assert first.share > 0.99


def registered(world: World, one: DemoAnimal) -> Animal:
    animal = world.animal(one.tag, one.species)
    assert one.transponder is not None
    code = {"scheme": "transponder", "code": one.transponder}
    assert world.say(world.odile, "identifier_assigned", animal.pk, code).position
    return animal
