"""A keeper's statement of linkage through the one way in: who may make it, what follows, and
that the log alone gives the same standing again."""

from typing import Any

import pytest
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.calls.models import Call
from scalewitness.domain.errors import Refused
from scalewitness.domain.sexing.parameters import CURRENT
from scalewitness.intake.services import Outcome
from scalewitness.intake.statements import adopt_policy
from scalewitness.people.models import Grant
from scalewitness.standings.models import Standing, StatedLinkage
from scalewitness.standings.queries.dossier import dossier
from scalewitness.standings.queries.logged import latest_standing
from scalewitness.standings.queries.replay import Replay

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]


def hatchling(world: World, **body: Any) -> Animal:
    sire, dam = world.animal("S1"), world.animal("D1")
    return world.animal("H1", sire=str(sire.pk), dam=str(dam.pk), **body)


def linkage(animal: Animal, **other: Any) -> dict[str, Any]:
    """By hand: 0.95 of such young are male; three in four statements are right, so 0.8375."""
    said = {
        "trait": "coral_glow",
        "shows": "one_copy",
        "sire": str(animal.sire or new_id()),
        "dam": str(animal.dam or new_id()),
        "sire_copies": 1,
        "dam_copies": 0,
        "beside": "Y",
        "recombination": "0.050000",
        "provenance": "keepers_speak_of",
    }
    return said | other


def state(world: World, animal: Animal, who: Any = None, **other: Any) -> Outcome:
    return world.say(who or world.odile, "linkage_stated", animal.pk, linkage(animal, **other))


def refused(world: World, animal: Animal, who: Any = None, **other: Any) -> dict[str, Any]:
    with pytest.raises(Refused) as error, transaction.atomic():
        state(world, animal, who, **other)
    assert not StatedLinkage.objects.filter(animal=animal).exists()
    return error.value.as_problem()


def chances(animal: Animal) -> tuple[str, str]:
    standing = latest_standing(animal.pk)
    assert standing is not None
    return standing.p_male, standing.p_male_pessimistic


def no_difference() -> bool:
    replay = Replay()
    found = list(replay.differences())
    return found == [] and replay.checked == Standing.objects.count()


def test_the_standing_starts_from_what_was_stated(world: World) -> None:
    animal = hatchling(world)
    assert state(world, animal).status == "accepted"
    assert chances(animal) == ("0.837500", "0.725000")
    assert world.label(animal) == "unsexed"
    assert no_difference()


def test_the_latest_statement_counts_and_earlier_ones_stay(world: World) -> None:
    animal = hatchling(world)
    first, _ = state(world, animal), state(world, animal, beside="X")
    assert chances(animal) == ("0.162500", "0.275000")
    state(world, animal, beside=None)
    assert chances(animal) == ("0.500000", "0.500000")
    assert StatedLinkage.objects.filter(animal=animal).count() == 3
    assert first.position is not None
    then = dossier(animal, first.position + 1)
    assert then.assessment.p_male == pytest.approx(0.8375)
    assert then.sensitivity.p_low < 0.8375 < then.sensitivity.p_high
    assert no_difference()


def test_withdrawing_every_call_returns_the_stated_start(world: World) -> None:
    animal = hatchling(world)
    state(world, animal)
    before = chances(animal)
    made = world.call(world.odile, animal, "female")
    assert chances(animal) != before
    world.say(world.odile, "call_withdrawn", animal.pk, {"call": made.id})
    assert chances(animal) == before
    assert no_difference()


def test_other_parents_end_a_statement_and_the_same_ones_revive_it(world: World) -> None:
    animal = hatchling(world)
    state(world, animal)
    kind = {"species": "python_regius"}
    world.say(world.odile, "particulars_corrected", animal.pk, kind)
    assert chances(animal) == ("0.500000", "0.500000")
    assert any("does not count" in line.text for line in dossier(animal_now(animal)).lines)
    parents = {"sire": str(animal.sire), "dam": str(animal.dam)}
    world.say(world.odile, "particulars_corrected", animal.pk, kind | parents)
    assert chances(animal) == ("0.837500", "0.725000")
    assert no_difference()


def animal_now(animal: Animal) -> Animal:
    return Animal.objects.select_related("collection").get(pk=animal.pk)


def test_a_statement_and_its_keepers_own_checks_never_verify(world: World) -> None:
    animal = hatchling(world)
    state(world, animal, recombination="0.000000")
    for _ in range(4):
        world.pass_time(days=1)
        world.call(world.odile, animal, "male")
    assert world.label(animal) == "probable male"
    assert no_difference()


def test_whoever_knows_the_statement_is_no_unbiased_examiner(world: World) -> None:
    """Else the keeper's statement would count once by itself and again in their call."""
    nothing_known, animal = hatchling(world), hatchling(world)
    state(world, animal)
    for one in (nothing_known, animal):
        world.call(world.odile, one, "male")
    assert Call.objects.get(animal=nothing_known).anchored_to is None
    assert Call.objects.get(animal=animal).anchored_to == "male"


def test_a_policy_reassesses_what_was_only_stated(world: World) -> None:
    animal = hatchling(world)
    state(world, animal)
    adopt_policy("policy-old", "sexing-1", {"verified": "0.990000"}, world.now)
    assert chances(animal) == ("0.500000", "0.500000")
    adopt_policy("policy-new", CURRENT, {"verified": "0.990000"}, world.now)
    assert chances(animal) == ("0.837500", "0.725000")
    assert no_difference()


def test_the_lines_say_where_the_start_comes_from(world: World) -> None:
    animal = hatchling(world)
    state(world, animal)
    shown = dossier(animal_now(animal))
    said = [line.text for line in shown.lines if line.kind == "reason"]
    assert any("Its keeper states that it shows one copy of coral glow" in text for text in said)
    cautions = " ".join(line.text for line in shown.lines if line.kind == "caution")
    assert "is not published where we could read it" in cautions
    assert "linkage.misstated" in {one.name for one in shown.assessment.used}


# --- who may say it, and about what -----------------------------------------------------


def test_a_partner_may_state_it_and_nobody_else(world: World) -> None:
    animal = hatchling(world)
    world.visit(world.greta, animal, blind=False)
    for who in (world.greta, world.stan):
        assert refused(world, animal, who)["code"] == "not_found"
    world.make_partner(world.pim)
    assert state(world, animal, world.pim).status == "accepted"


@pytest.mark.parametrize(
    ("said", "pointer"),
    [
        ({"trait": "moonlight"}, "/body/trait"),
        ({"recombination": "0.600000"}, "/body/recombination"),
        ({"sire": str(new_id())}, "/body/sire"),
        ({"dam": str(new_id())}, "/body/dam"),
        ({"beside": "Z"}, "/body/beside"),
        ({"sire_copies": 0, "beside": None}, "/body/shows"),
        ({"sire_copies": 3}, "/body/sire_copies"),
        ({"provenance": "a hunch"}, "/body/provenance"),
    ],
)
def test_statements_that_cannot_be(world: World, said: dict[str, Any], pointer: str) -> None:
    problem = refused(world, hatchling(world), **said)
    assert (problem["status"], problem["errors"][0]["pointer"]) == (422, pointer)


def test_both_parents_must_be_on_record_and_the_species_the_traits(world: World) -> None:
    assert refused(world, world.animal("A1"))["errors"][0]["pointer"] == "/body/sire"
    for species in ("boa_imperator", "vipera_berus"):
        other = hatchling(world, species=species)
        assert refused(world, other)["errors"][0]["pointer"] == "/body/trait"


def test_a_keeper_blind_to_a_parent_is_refused_like_one_who_errs(world: World) -> None:
    """Else the refusal would tell which animal the sire is, and so a sex."""
    sire, dam = world.animal("S1"), world.animal("D1")
    room = world.collection.pk
    grant = world.say(
        world.odile, "grant_given", room, {"to": str(world.greta.pk), "role": "viewer"}
    )
    young = new_id(world.now)
    body = {
        "collection": str(create_collection(world.greta, new_id(), "Shelf", world.now).pk),
        "species": "python_regius",
        "sire": str(sire.pk),
        "dam": str(dam.pk),
    }
    world.say(world.greta, "animal_registered", young, body)
    world.say(world.odile, "grant_revoked", room, {"grant": grant.id})
    animal = Animal.objects.get(pk=young)
    world.visit(world.greta, sire)
    right = refused(world, animal, world.greta)
    assert right["errors"][0]["pointer"] == "/body/sire"
    assert right == refused(world, animal, world.greta, sire=str(new_id()))
    world.call(world.greta, sire, "male", visit=Grant.objects.get(to=world.greta, blind=True).pk)
    assert state(world, animal, world.greta).status == "accepted"


def test_what_was_stated_cannot_be_altered(world: World) -> None:
    animal = hatchling(world)
    state(world, animal)
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE calls_statedlinkage SET body = '{}'")


def test_the_command_finds_no_difference(world: World) -> None:
    state(world, hatchling(world))
    call_command("replay")
